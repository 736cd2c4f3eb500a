"""Pages of startup records and set-ups: the list, one report, two compared, what a press was set to."""

import dataclasses

from markupsafe import Markup

from server.show.baseline_words import AdviceLines
from server.show.first_steps import FirstSteps
from server.show.frame import Frame
from server.show.pages import Choice, Fact


@dataclasses.dataclass(frozen=True)
class RecordRow:
    """One record on the list. `badge`: qualified or relative only; verdicts: what its signals came to."""

    no: int
    state: str
    state_text: str
    of: str
    span: str
    shots: str
    who: tuple[str, ...]
    badge: str
    badge_text: str
    verdict: str
    left_out: str
    href: str
    now_href: str
    api_href: str
    may_approve: bool
    may_retire: bool
    #: The press qualification kept with the record; empty: there is none.
    qualification_href: str = ""


@dataclasses.dataclass(frozen=True)
class BaselinesPage:
    frame: Frame
    press: str
    page_href: str
    api_href: str
    setups_href: str
    answer: str
    under: str
    advice: AdviceLines | None
    rows: tuple[RecordRow, ...]
    choices: tuple[Choice, ...]
    compare_href: str
    figure_href: str
    mold: str = ""
    material: str = ""
    setup: str = ""
    first: FirstSteps | None = None
    chart_span: str = "7d"
    chart_empty: str = ""


@dataclasses.dataclass(frozen=True)
class ReportSignal:
    """A signal of a report as a line of its table; a pair stands one under the other."""

    signal: str
    verdict: str
    shots: tuple[str, ...]
    middle: tuple[str, str]
    within: str
    total: tuple[str, str]
    limits: tuple[str, str]
    false_alarm: tuple[str, ...]
    alike: tuple[str, ...]
    shape: tuple[str, ...]
    step: str
    left_out: str
    help: str = ""


@dataclasses.dataclass(frozen=True)
class LeftOutRow:
    at_text: str
    shot: str
    reason: str
    signals: str


@dataclasses.dataclass(frozen=True)
class Drawn:
    """A signal in pictures, with a sentence that says the same."""

    signal: str
    bars: Markup
    course: Markup
    says: str


@dataclasses.dataclass(frozen=True)
class ReportPage:
    frame: Frame
    press: str
    answer: str
    under: str
    back_href: str
    now_href: str
    api_href: str
    facts: tuple[Fact, ...]
    qualification: str
    qualification_href: str
    qualified: bool
    signals: tuple[ReportSignal, ...]
    missing: tuple[Fact, ...]
    left_out: tuple[LeftOutRow, ...]
    left_out_note: str
    drawn: tuple[Drawn, ...]


@dataclasses.dataclass(frozen=True)
class ComparedRow:
    """`first`, `second`: mean and scatter; `…_reach`: 95 % intervals; `clear`: what is not chance, or ''."""

    signal: str
    first: tuple[str, str]
    second: tuple[str, str]
    difference: str
    difference_reach: str
    effect: str
    effect_reach: str
    ratio: str
    ratio_reach: str
    worth: tuple[str, ...]
    clear: str


@dataclasses.dataclass(frozen=True)
class ComparePage:
    frame: Frame
    press: str
    answer: str
    under: str
    back_href: str
    api_href: str
    first_choices: tuple[Choice, ...]
    second_choices: tuple[Choice, ...]
    warning: str = ""
    first_name: str = ""
    second_name: str = ""
    heads: tuple[str, str] = ("", "")
    strip: Markup | None = None
    strip_says: str = ""
    rows: tuple[ComparedRow, ...] = ()
    apart: tuple[Fact, ...] = ()
    drawn: tuple[Drawn, ...] = ()


@dataclasses.dataclass(frozen=True)
class SetupRow:
    """A set-up that ran; `source`: where its set-points are known from."""

    of: str
    days: str
    shots: str
    record: str
    record_href: str
    setpoints: tuple[Fact, ...]
    source: str
    runs_now: bool


@dataclasses.dataclass(frozen=True)
class ChangeRow:
    at_text: str
    at_iso: str
    what: str
    who: str


@dataclasses.dataclass(frozen=True)
class SetupsPage:
    frame: Frame
    press: str
    answer: str
    under: str
    back_href: str
    records_href: str
    api_href: str
    rows: tuple[SetupRow, ...]
    changes: tuple[ChangeRow, ...]
    entries: tuple[ChangeRow, ...]
    #: Names and values the form begins with.
    fields: tuple[Fact, ...]
    mold: str = ""
    material: str = ""
    setup: str = ""
