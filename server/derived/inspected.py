"""The score against the plant's own inspections: which ones count, and what they make of it."""

import dataclasses

import numpy as np
import sqlalchemy as sa

from server.maths.results import Undetermined
from server.store.records import score_before, studies_of_kind, valves_of
from server.valve.recalibration import KEPT_TERMS, Recalibration, recalibrate


@dataclasses.dataclass(frozen=True)
class Inspected:
    """One valve, opened: the model's own log-odds just before, and whether it was failing.

    failing None: worn but usable, which is neither.
    """

    press_id: int
    press: str
    study_no: int
    at_ms: int
    log_odds: float
    failing: bool | None


@dataclasses.dataclass(frozen=True)
class Record:
    """inspected: every one that can be paired with a score; unpaired: those without a score before."""

    inspected: tuple[Inspected, ...]
    unpaired: int
    result: Recalibration | Undetermined

    @property
    def worn(self) -> int:
        """How many were worn but usable, and so left out."""
        return sum(one.failing is None for one in self.inspected)


def _own_log_odds(score: tuple[float, bytes] | None) -> float | None:
    """The model's own; None for a score of an older model, whose terms are others."""
    if score is None or len(score[1]) != 8 * len(KEPT_TERMS):
        return None
    return score[0] - float(np.frombuffer(score[1], dtype="<f8")[-1])


def inspection_record(connection: sa.Connection) -> Record:
    """The first inspection of each valve with the last score before it, and the curve through them.

    A second look at the same valve would count the same luck twice. The score taken is the model's
    own: what earlier corrections put on it is taken off again.
    """
    found: list[Inspected] = []
    unpaired = 0
    seen: set[tuple[int, int]] = set()
    for press, study in studies_of_kind(connection, "inspection"):
        valve = max(
            (one.valve_no for one in valves_of(connection, study.press_id) if one.fitted_ms <= study.at_ms),
            default=0,
        )
        if (study.press_id, valve) in seen:
            continue
        seen.add((study.press_id, valve))
        log_odds = _own_log_odds(score_before(connection, study.press_id, at_ms=study.at_ms))
        if log_odds is None:
            unpaired += 1
            continue
        failing = {"failed": True, "good": False}.get(study.verdict)
        found.append(Inspected(study.press_id, press, study.study_no, study.at_ms, log_odds, failing))
    counted = [one for one in found if one.failing is not None]
    result = recalibrate(
        [one.log_odds for one in counted], failing=[bool(one.failing) for one in counted]
    )
    return Record(tuple(found), unpaired, result)
