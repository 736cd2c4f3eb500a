"""Every kind of paper by its name: what it is asked about, and what builds it."""

import dataclasses
from collections.abc import Callable
from typing import Final

import sqlalchemy as sa

from server.language import N_
from server.show.paper import Paper
from server.show.paper_mold import capability_paper
from server.show.paper_plant import health_paper
from server.show.paper_press import case_paper, record_paper, study_paper, trial_paper
from server.show.plant_words import Plant


@dataclasses.dataclass(frozen=True)
class Asked:
    """What a paper is of. subject: mold, press or area; number: which one of a press; a stretch of time
    (`to_ms` exclusive) where the kind has one."""

    kind: str
    subject: str
    number: int = 0
    from_ms: int = 0
    to_ms: int = 0


@dataclasses.dataclass(frozen=True)
class Kind:
    """name: in words. of: `mold`, `press` or `plant`; spans: it is of a stretch of time."""

    name: str
    of: str
    spans: bool
    build: Callable[[sa.Connection, Plant, Asked], Paper | None]


KINDS: Final[dict[str, Kind]] = {
    "capability": Kind(
        N_("Capability of a mold"),
        "mold",
        True,
        lambda c, p, a: capability_paper(c, p, mold=a.subject, from_ms=a.from_ms, to_ms=a.to_ms),
    ),
    "startup_record": Kind(
        N_("Startup record"),
        "press",
        False,
        lambda c, p, a: record_paper(c, p, press=a.subject, number=a.number),
    ),
    "study": Kind(
        N_("Study"), "press", False, lambda c, p, a: study_paper(c, p, press=a.subject, number=a.number)
    ),
    "trial": Kind(
        N_("Setting trial"),
        "press",
        False,
        lambda c, p, a: trial_paper(c, p, press=a.subject, number=a.number),
    ),
    "case": Kind(
        N_("Case"), "press", False, lambda c, p, a: case_paper(c, p, press=a.subject, number=a.number)
    ),
    "valve_health": Kind(
        N_("Valve health"),
        "plant",
        True,
        lambda c, p, a: health_paper(c, p, area=a.subject, from_ms=a.from_ms, to_ms=a.to_ms),
    ),
}


def build_paper(connection: sa.Connection, plant: Plant, asked: Asked) -> Paper | None:
    """None: there is nothing of that name and number."""
    return KINDS[asked.kind].build(connection, plant, asked)
