"""The pages people work on: containment, studies, valves, import, settings, help, login."""

import dataclasses

from server.show.first_steps import FirstSteps
from server.show.frame import Frame
from server.show.pages import Choice, Fact
from server.words.catalogue import Entry


@dataclasses.dataclass(frozen=True)
class SuspectRow:
    """What may have left the press wrong since the onset."""

    press: str
    href: str
    since: str
    shots: str
    boxes: str
    lots: str
    reason: str
    csv_href: str
    file: str
    hold_href: str = ""
    since_at: str = ""
    #: Which record holds these shots already, and until when.
    held_text: str = ""


@dataclasses.dataclass(frozen=True)
class HeldStep:
    text: str
    who: str
    note: str


@dataclasses.dataclass(frozen=True)
class HeldRow:
    """Parts that are held, or were."""

    press: str
    number: int
    href: str
    api_href: str
    mold: str
    state: str
    state_text: str
    span: str
    onset: str
    why: str
    shots: str
    boxes: str
    lots: str
    serials: str
    shifts: str
    held_by: str
    labels: tuple[str, ...]
    steps: tuple[HeldStep, ...]


@dataclasses.dataclass(frozen=True)
class LookedUp:
    """What is known of the shots somebody complains about."""

    title: str
    span: str
    known: str
    alarms: str
    held: str
    capable: str


@dataclasses.dataclass(frozen=True)
class ContainmentPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[SuspectRow, ...]
    held: tuple[HeldRow, ...] = ()
    presses: tuple[Choice, ...] = ()
    found: tuple[LookedUp, ...] = ()
    asked: bool = False
    asked_box: str = ""
    asked_serial: str = ""


@dataclasses.dataclass(frozen=True)
class ApartRow:
    """A row that was not taken, with the reason."""

    press: str
    when: str
    kind: str
    field: str
    message: str
    raw: str


@dataclasses.dataclass(frozen=True)
class TargetGroup:
    """What a column can be read as, grouped."""

    name: str
    choices: tuple[Choice, ...]


@dataclasses.dataclass(frozen=True)
class ImportRow:
    """An earlier import. `refused`: rows there is something to fetch of. `undo`: it may be taken back."""

    number: int
    file: str
    when: str
    who: str
    state: str
    counts: str
    trouble: str
    refused: int
    undo: bool


@dataclasses.dataclass(frozen=True)
class ImportPage:
    frame: Frame
    answer: str
    under: str
    presses: tuple[Choice, ...]
    molds: tuple[Choice, ...]
    targets: tuple[TargetGroup, ...]
    #: The units of each target as JSON, for the script.
    units_json: str
    #: What the page's script says, as JSON.
    say: str
    zone: str
    imports: tuple[ImportRow, ...]
    apart: tuple[ApartRow, ...]
    first: FirstSteps | None = None


@dataclasses.dataclass(frozen=True)
class SettingField:
    """One setting the plant decides. `kind`: text, number, switch or choice; `path` its name in the API."""

    path: str
    name: str
    kind: str
    value: str
    meaning: str
    choices: tuple[Choice, ...] = ()
    step: str = "any"


@dataclasses.dataclass(frozen=True)
class SettingsPage:
    frame: Frame
    answer: str
    under: str
    fields: tuple[SettingField, ...]
    people: tuple[Fact, ...] = ()


@dataclasses.dataclass(frozen=True)
class HelpEntry:
    """`shown`: it holds what was asked for."""

    entry: Entry
    shown: bool = True


@dataclasses.dataclass(frozen=True)
class HelpGroup:
    id: str
    title: str
    entries: tuple[HelpEntry, ...]

    @property
    def shown(self) -> bool:
        return any(one.shown for one in self.entries)


@dataclasses.dataclass(frozen=True)
class HelpChapter:
    """`body` is markup of our own."""

    anchor: str
    title: str
    body: str
    shown: bool = True


@dataclasses.dataclass(frozen=True)
class HelpPage:
    frame: Frame
    answer: str
    under: str
    groups: tuple[HelpGroup, ...]
    chapters: tuple[HelpChapter, ...] = ()
    asked: str = ""
    #: How many entries hold what was asked for; empty where nothing was.
    found_text: str = ""


@dataclasses.dataclass(frozen=True)
class LoginPage:
    frame: Frame
    answer: str
    next: str
    trouble: str = ""
    #: What the shared tablet is called, '' elsewhere, and who may change over on it.
    tablet: str = ""
    people: tuple[Choice, ...] = ()
    #: Nobody has an account here: a new plant.
    nobody: bool = False


@dataclasses.dataclass(frozen=True)
class TroublePage:
    """A page that could not be shown: what happened and the way out."""

    frame: Frame
    answer: str
    under: str
    way_out: tuple[tuple[str, str], ...] = ()
