"""The pages of studies: the list with what can be begun, a sheet being filled in, one study that was kept."""

import dataclasses

from markupsafe import Markup

from server.show.frame import Frame
from server.show.pages import Choice


@dataclasses.dataclass(frozen=True)
class StudyRow:
    press: str
    href: str
    study_href: str
    kind: str
    at_text: str
    mold: str
    verdict: str
    text: str
    author: str
    help: str = ""


@dataclasses.dataclass(frozen=True)
class OpenRow:
    """A study that is being done."""

    href: str
    name: str
    press: str
    since: str
    by: str
    readings: str


@dataclasses.dataclass(frozen=True)
class LimitRow:
    mold: str
    process: str
    limit: str


@dataclasses.dataclass(frozen=True)
class StudiesPage:
    frame: Frame
    answer: str
    under: str
    presses: tuple[Choice, ...]
    molds: tuple[Choice, ...]
    chosen_kind: str
    rows: tuple[StudyRow, ...]
    open_rows: tuple[OpenRow, ...]
    processes: tuple[Choice, ...]
    resins: tuple[Choice, ...]
    methods: tuple[Choice, ...]
    measured: tuple[Choice, ...]
    instruments: tuple[Choice, ...]
    findings: tuple[Choice, ...]
    limits: tuple[LimitRow, ...]
    hot_melt: str
    drift: str
    qualify: str
    lock_out: str


@dataclasses.dataclass(frozen=True)
class ReadingRow:
    """A reading on a sheet. `href`: to take it back (empty: not any more)."""

    no: int
    value: str
    at_text: str
    who: str
    mark: str
    href: str
    is_withdrawn: bool


@dataclasses.dataclass(frozen=True)
class SheetSeries:
    """A row of readings on a sheet; second empty: single numbers."""

    id: str
    name: str
    first: str
    second: str
    why: str
    how: str
    limit: str
    readings: tuple[ReadingRow, ...]
    #: '', 'passed', 'failed', 'undecided'
    state: str
    state_text: str
    text: str
    filled: str
    #: Stored units in one shown one, of each column, with blanks between.
    factors: str = "1"
    #: What its limit is in, and stored units in one of these.
    limit_unit: str = ""
    limit_factor: str = "1"
    #: The limit as it is kept, for a field nobody touches.
    limit_stored: str = ""
    #: The labels in stored units, as a file has to hold them.
    stored: tuple[str, str] = ("", "")


@dataclasses.dataclass(frozen=True)
class BesideRow:
    """A study that belongs to a qualification and is done on a sheet of its own."""

    name: str
    why: str
    state_text: str
    is_done: bool
    href: str


@dataclasses.dataclass(frozen=True)
class SheetPage:
    frame: Frame
    answer: str
    under: str
    kind: str
    name: str
    state: str
    press: str
    press_href: str
    api_href: str
    figure: Markup
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    series: tuple[SheetSeries, ...]
    beside: tuple[BesideRow, ...]
    confirmed: str
    caution: str
    study_href: str
    may_keep: bool


@dataclasses.dataclass(frozen=True)
class PhotoRow:
    href: str
    caption: str
    width: int
    height: int
    by: str


@dataclasses.dataclass(frozen=True)
class StudyPage:
    """One study. `figures`: picture with its heading."""

    frame: Frame
    answer: str
    under: str
    press: str
    number: int
    press_href: str
    text: str
    figures: tuple[tuple[str, Markup], ...]
    facts: tuple[tuple[str, str], ...]
    table_head: tuple[str, ...]
    table: tuple[tuple[str, ...], ...]
    confirmed: str
    caution: str
    note: str
    is_inspection: bool
    photos: tuple[PhotoRow, ...]
    photos_href: str
    photos_left: int
    #: The startup record a qualification was kept with.
    record_href: str = ""
    #: Anchor of what explains this kind of study.
    help: str = ""
