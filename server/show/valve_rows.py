"""What the pages of valves print, as frozen dataclasses."""

import dataclasses

from markupsafe import Markup

from server.show.choice_block import ChoiceBlock
from server.show.frame import Frame
from server.show.pages import Choice, TimelineRow


@dataclasses.dataclass(frozen=True)
class ValveRow:
    press: str
    href: str
    valve_href: str
    style: str
    part_number: str
    fitted: str
    shots: str
    removed: str
    outcome: str
    left: str
    current: bool


@dataclasses.dataclass(frozen=True)
class LifeBlock:
    """One kind of valve: how long such valves last, as far as the plant's record says."""

    title: str
    answer: str
    lines: tuple[str, ...]
    picture: Markup | None


@dataclasses.dataclass(frozen=True)
class SpareRow:
    number: int
    part_number: str
    style: str
    on_hand: str
    lead: str
    place: str
    fits: str


@dataclasses.dataclass(frozen=True)
class WearRow:
    material: str
    wear: str
    wear_text: str


@dataclasses.dataclass(frozen=True)
class CostField:
    name: str
    label: str
    value: str
    hint: str


@dataclasses.dataclass(frozen=True)
class ValvesPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[ValveRow, ...]
    lives: tuple[LifeBlock, ...]
    spares: tuple[SpareRow, ...]
    materials: tuple[WearRow, ...]
    costs: tuple[CostField, ...]
    presses: tuple[Choice, ...]
    styles: tuple[Choice, ...]
    wears: tuple[Choice, ...]
    lock_out: str


@dataclasses.dataclass(frozen=True)
class ValvePage:
    frame: Frame
    answer: str
    under: str
    press: str
    press_href: str
    api_href: str
    facts: tuple[tuple[str, str], ...]
    materials: tuple[tuple[str, str, str], ...]
    checks: tuple[TimelineRow, ...]
    life: LifeBlock
    choice: ChoiceBlock
    spares: tuple[SpareRow, ...]
    is_out: bool
    outcomes: tuple[Choice, ...]
    reason: str
    found: str
