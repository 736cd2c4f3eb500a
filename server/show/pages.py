"""The pages people watch, as frozen dataclasses: what a template prints, already in words."""

import dataclasses

from markupsafe import Markup

from server.show.first_steps import FirstSteps
from server.show.frame import Frame
from server.show.newest_shot import NewestShot
from server.show.record_line import RecordLine


@dataclasses.dataclass(frozen=True)
class Urgency:
    """How soon someone is needed: id, word and pellet."""

    id: str
    word: str
    pellet: Markup


@dataclasses.dataclass(frozen=True)
class Choice:
    """One entry of a filter or a list to choose from."""

    value: str
    text: str
    chosen: bool = False


@dataclasses.dataclass(frozen=True)
class Fact:
    """A named value; `help` is the anchor of what explains it, where something does."""

    name: str
    value: str
    help: str = ""


@dataclasses.dataclass(frozen=True)
class PressRow:
    """One press on the plant page. `mood`: quiet, watch, unusual, silent or unknown."""

    press: str
    name: str
    href: str
    mold: str
    area: str
    likelihood_text: str
    status_text: str
    mood: str
    path: Markup
    strip: Markup
    cause_text: str
    last_shot_text: str
    urgency: Urgency | None = None
    open_alarms: int = 0


@dataclasses.dataclass(frozen=True)
class PlantPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[PressRow, ...]
    areas: tuple[Choice, ...] = ()
    molds: tuple[Choice, ...] = ()
    states: tuple[Choice, ...] = ()
    #: Why there is nothing to show, with the way out; empty when there are rows.
    empty_text: str = ""
    waiting: tuple[str, ...] = ()
    #: A line for each open record of held parts.
    parts_held: tuple[str, ...] = ()
    first: FirstSteps | None = None
    #: The same for a screen nobody touches; empty: there is nothing to show on one.
    wall_href: str = ""


@dataclasses.dataclass(frozen=True)
class EvidenceRow:
    """`weighs`: it moves the odds at all."""

    text: str
    bar: Markup
    weighs: bool = True
    help: str = ""


@dataclasses.dataclass(frozen=True)
class CauseRow:
    id: str
    text: str
    share_text: str


@dataclasses.dataclass(frozen=True)
class StepRow:
    """A next step; `caution` stands before it, `href` opens where it is done."""

    id: str
    text: str
    href: str = ""
    action: str = ""
    caution: str = ""
    ticked: bool = False
    ticked_text: str = ""
    #: What the data say of it already; `ruled_out`: that it need not be done.
    says: str = ""
    ruled_out: bool = False


@dataclasses.dataclass(frozen=True)
class CompareRow:
    """A signal at startup and now."""

    signal: str
    startup: str
    now: str
    change: str
    help: str = ""


@dataclasses.dataclass(frozen=True)
class TimelineRow:
    """An event or a finding as text; the chart's content for those who do not see it."""

    at_text: str
    at_iso: str
    what: str
    who: str = ""
    help: str = ""


@dataclasses.dataclass(frozen=True)
class EstimateLines:
    """`lines` are sentences, `rests_on` the assumptions behind them, `cannot` what cannot be said and why.

    A line is (anchor of what explains it, sentence).
    """

    lines: tuple[tuple[str, str], ...]
    rests_on: tuple[str, ...]
    cannot: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class PressPage:
    frame: Frame
    press: str
    answer: str
    under: str
    mood: str
    strip: Markup
    strip_note: str
    evidence_title: str
    evidence: tuple[EvidenceRow, ...]
    evidence_note: str
    causes: tuple[CauseRow, ...]
    steps: tuple[StepRow, ...]
    compare: tuple[CompareRow, ...]
    findings: tuple[TimelineRow, ...]
    events: tuple[TimelineRow, ...]
    configuration: tuple[Fact, ...]
    figure_href: str
    api_href: str
    page_href: str
    mold: str = ""
    trouble: str = ""
    edit: tuple[tuple[str, str], ...] = ()
    alarms: tuple["AlarmCard", ...] = ()
    estimates: EstimateLines | None = None
    case: "CaseLine | None" = None
    record: RecordLine | None = None
    newest: NewestShot | None = None
    first: FirstSteps | None = None
    chart_empty: str = ""
    chart_span: str = "7d"
    #: Instead of next steps, where a press is not judged.
    nothing_text: str = ""

    @property
    def edit_values(self) -> dict[str, str]:
        return dict(self.edit)


@dataclasses.dataclass(frozen=True)
class CaseLine:
    """The open case of a press: its name, where it stands and what it is about."""

    name: str
    href: str
    text: str


@dataclasses.dataclass(frozen=True)
class AlarmCard:
    """One alarm as the floor sees it."""

    id: str
    press: str
    name: str
    href: str
    urgency: Urgency
    since_text: str
    text: str
    advice: str
    state_text: str
    answered: str
    open: bool
    shelved: bool = False
    #: What makes it unlike others: that it flickers, that it stands since long, that others were told.
    marks: tuple[str, ...] = ()
    #: Its parts since the onset stand on the containment page.
    suspects: bool = False
    case: CaseLine | None = None
    press_api: str = ""
    #: Anchor of what explains alarms of this kind, and what the kind is called.
    help: str = ""
    kind_text: str = ""


@dataclasses.dataclass(frozen=True)
class HandoverCard:
    """The note of a shift. `unread`: nobody has said so far that they have read it."""

    number: int
    title: str
    note: str
    read_text: str
    unread: bool


@dataclasses.dataclass(frozen=True)
class AlarmsPage:
    """`held`: kept from calling by design or out of service. `at_ms`, `at_text`: when this was so."""

    frame: Frame
    answer: str
    under: str
    cards: tuple[AlarmCard, ...]
    quiet: tuple[AlarmCard, ...]
    shift_text: str
    at_ms: int
    at_text: str
    show_all: bool = False
    past: tuple[AlarmCard, ...] = ()
    held: tuple[AlarmCard, ...] = ()
    stops: tuple[str, ...] = ()
    shift_name: str = ""
    shift_opened: tuple[str, ...] = ()
    shift_answered: tuple[str, ...] = ()
    shift_staying: tuple[str, ...] = ()
    #: A line for each open record of held parts.
    parts_held: tuple[str, ...] = ()
    handover: HandoverCard | None = None
    shelves: tuple[tuple[int, str], ...] = ()


@dataclasses.dataclass(frozen=True)
class LaneRow:
    """A press's lane on the mold page, with its verdict in words."""

    press: str
    name: str
    href: str
    lane: Markup | None
    verdict: str
    detail: str
    falls_short: bool
    facts: tuple[Fact, ...] = ()
    histogram: Markup | None = None


@dataclasses.dataclass(frozen=True)
class SignalVerdict:
    """One signal's verdict sentence and its lanes."""

    signal: str
    name: str
    unit: str
    sentence: str
    lanes: tuple[LaneRow, ...]
    ruler: Markup | None
    data_href: str


@dataclasses.dataclass(frozen=True)
class LimitVersion:
    """Limits and demand of a mold since a moment."""

    number: int
    since: str
    limits: str
    demand: str
    who: str
    why: str


@dataclasses.dataclass(frozen=True)
class EventChoice:
    """A moment before and after which parts may be compared."""

    value: str
    text: str


@dataclasses.dataclass(frozen=True)
class BeforeAfterRow:
    press: str
    before: str
    after: str
    change: str


@dataclasses.dataclass(frozen=True)
class BeforeAfter:
    """What each press made before and after a moment."""

    moment: str
    rows: tuple[BeforeAfterRow, ...]


@dataclasses.dataclass(frozen=True)
class MoldPage:
    frame: Frame
    mold: str
    part: str
    answer: str
    under: str
    signals: tuple[SignalVerdict, ...]
    consistency: str
    sureness: str
    api_href: str
    edit: tuple[tuple[str, str], ...] = ()
    from_text: str = ""
    to_text: str = ""
    #: A sentence for each press that stands out from the others.
    odd: tuple[str, ...] = ()
    history: tuple[LimitVersion, ...] = ()
    events: tuple[EventChoice, ...] = ()
    split: BeforeAfter | None = None
    #: What a report of this stretch is asked with, JSON.
    report_body: str = ""

    @property
    def edit_values(self) -> dict[str, str]:
        return dict(self.edit)


@dataclasses.dataclass(frozen=True)
class MoldRow:
    mold: str
    href: str
    part: str
    cavities: str
    presses: str
    limits_text: str
    state: str = "no_limits"
    state_text: str = ""
    verdict: str = ""
    demand: str = ""


@dataclasses.dataclass(frozen=True)
class MoldsPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[MoldRow, ...]
