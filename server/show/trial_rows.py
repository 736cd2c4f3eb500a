"""What the pages of setting trials print, as frozen dataclasses."""

import dataclasses

from markupsafe import Markup

from server.show.frame import Frame
from server.show.pages import Choice


@dataclasses.dataclass(frozen=True)
class TrialRow:
    href: str
    name: str
    press: str
    press_href: str
    setting: str
    levels: str
    state: str
    planned: str
    runs: bool


@dataclasses.dataclass(frozen=True)
class PowerRow:
    """Chance to see a scatter so many times larger, by shots a level."""

    shots: str
    chances: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class TrialsPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[TrialRow, ...]
    presses: tuple[Choice, ...]
    powers: tuple[PowerRow, ...]
    ratios: tuple[str, ...]
    cautions: str


@dataclasses.dataclass(frozen=True)
class StepLine:
    """One step of the plan. state: `done`, `runs`, `next` or `later`."""

    number: int
    level: str
    state: str
    state_text: str
    shots: int
    wanted: int
    splay: str


@dataclasses.dataclass(frozen=True)
class LevelLine:
    name: str
    is_today: bool
    recommended: bool
    shots: str
    sigma: str
    sigma_interval: str
    best: str
    mean: str
    difference: str
    difference_interval: str
    recovery: str
    cycle: str
    splay: str
    picture: Markup


@dataclasses.dataclass(frozen=True)
class TrialPage:
    """`tap`: what to set now, with the number of that step; '' when there is nothing to set."""

    frame: Frame
    answer: str
    under: str
    press: str
    number: int
    press_href: str
    api_href: str
    runs: bool
    steps: tuple[StepLine, ...]
    levels: tuple[LevelLine, ...]
    looks: tuple[str, ...]
    power: tuple[str, ...]
    tap: str
    tap_step: int
    splay_step: int
    kept: tuple[Choice, ...]
    cautions: str
    done_pct: int
    facts: tuple[tuple[str, str], ...]
    case_href: str = ""
    unit_of_signal: str = ""
