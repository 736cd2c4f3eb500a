"""What the pages of cases print, as frozen dataclasses."""

import dataclasses

from markupsafe import Markup

from server.show.choice_block import ChoiceBlock
from server.show.frame import Frame
from server.show.pages import Choice, TimelineRow


@dataclasses.dataclass(frozen=True)
class CaseRow:
    """One case in the list."""

    href: str
    name: str
    press: str
    press_href: str
    about: str
    stage: str
    owner: str
    opened: str
    closed: str
    is_open: bool


@dataclasses.dataclass(frozen=True)
class CasesPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[CaseRow, ...]
    closed: tuple[CaseRow, ...]
    presses: tuple[Choice, ...]
    show_all: bool


@dataclasses.dataclass(frozen=True)
class Cell:
    """A figure, and its interval below it."""

    text: str
    interval: str = ""


@dataclasses.dataclass(frozen=True)
class WitnessRow:
    """One figure before and after, each with its interval, and what became of it."""

    name: str
    record: str
    before: Cell
    after: Cell
    change: Cell
    says: str
    picture: Markup | None = None


@dataclasses.dataclass(frozen=True)
class ActionBlock:
    """What was done, and what the shots before and after it say. `proposed` '' while they are too few."""

    number: int
    title: str
    at_text: str
    who: str
    answer: str
    under: str
    rows: tuple[WitnessRow, ...]
    proposed: str
    proposed_text: str
    #: Share of the shots wanted that have come, 0 to 100.
    done_pct: int
    progress_text: str


@dataclasses.dataclass(frozen=True)
class EarlierRow:
    """What was tried in an earlier case, and what came of it."""

    text: str
    href: str
    name: str
    where: str


@dataclasses.dataclass(frozen=True)
class CasePage:
    frame: Frame
    answer: str
    under: str
    press: str
    number: int
    press_href: str
    api_href: str
    press_api: str
    name: str
    is_open: bool
    stage: str
    owner: str
    about: str
    facts: tuple[tuple[str, str, str], ...]
    actions: tuple[ActionBlock, ...]
    story: tuple[TimelineRow, ...]
    earlier: tuple[EarlierRow, ...]
    verdicts: tuple[Choice, ...]
    action_choices: tuple[Choice, ...]
    caution: str
    closing: tuple[str, ...] = ()
    links: tuple[tuple[str, str], ...] = ()
    #: What changing the valve and waiting cost; None: the case is closed, or no valve is entered.
    choice: ChoiceBlock | None = None
