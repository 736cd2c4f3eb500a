"""The comparison an action of a case opens by itself: the press's shots before it against those after.

Before: from the onset of the case, or the action before this one, to the action. After: from there to
the next action, without the shots in which the press settles. Only shots of the mold that ran then.
"""

import dataclasses
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.derived.values import derive_signals, sources_of
from server.maths.comparison import MeanComparison, compare_means
from server.maths.results import Undetermined
from server.store.cases import Case, CaseAction, last_score
from server.store.plant import Press, setups_of
from server.store.questions import press_with_state
from server.store.records import Baseline, baselines_of
from server.store.shots import read_columns
from server.valve.judgement import likelihood
from server.valve.proof_of_fix import CONFIDENCE, SETTLING, SHOTS_WANTED, Proof, proof_of_fix

Floats = NDArray[np.float64]

#: Shots taken of either side, those nearest to the action.
SHOTS_MOST: Final = 1_000
_SIGNALS: Final = ("swept_mm", "cushion_mm")


@dataclasses.dataclass(frozen=True)
class CaseProof:
    """`found` is Undetermined while it cannot be said; `more`: shots still to come for a verdict, 0 none.

    Cushions are plain means in mm, shown because people read them: a raised shot size hides a leak there.
    `likelihood_before`, `likelihood_after`: of a leak, None where the press was not judged.
    """

    action_no: int
    from_ms: int
    at_ms: int
    to_ms: int
    settling: int
    more: int
    found: Proof | Undetermined
    cushion_before_mm: float | None
    cushion_after_mm: float | None
    cushion_change: MeanComparison | None
    likelihood_before: float | None
    likelihood_after: float | None
    baseline_no: int | None

    @property
    def verdict(self) -> str:
        """What the shots propose; '' while they are too few."""
        return "" if isinstance(self.found, Undetermined) else self.found.verdict

    def as_evidence(self) -> dict[str, Any]:
        """As it is kept with the closed case and written by the API."""
        found = self.found
        said = {"reason": found.reason} if isinstance(found, Undetermined) else dataclasses.asdict(found)
        return {**dataclasses.asdict(self), "found": said, "verdict": self.verdict}


def proof_of(
    connection: sa.Connection, press: Press, case: Case, actions: Sequence[CaseAction], *, action: CaseAction,
    now_ms: int,
) -> CaseProof:  # fmt: skip
    """Compare the shots before and after one action of a case."""
    others = [one.at_ms for one in actions if one.action_no != action.action_no]
    begin = max([case.onset_ms, *(at for at in others if at < action.at_ms)])
    end = min([case.closed_ms or now_ms + 1, *(at for at in others if at > action.at_ms)])
    lag = _lag(connection, press)
    mold = _mold_ids(connection, press, case.mold)
    before = _side(connection, press, lag, mold, from_ms=begin, to_ms=action.at_ms, newest=True)
    after = _side(connection, press, lag, mold, from_ms=action.at_ms, to_ms=end, newest=False, drop=SETTLING)
    record = _record(connection, press, case, action)
    center, sigma = _of_record(record)
    was = last_score(connection, press.press_id, from_ms=begin, to_ms=action.at_ms)
    now = last_score(connection, press.press_id, from_ms=_settled_ms(after, action), to_ms=end)
    chance = None if now is None else likelihood(now)
    found = proof_of_fix(before.swept, after=after.swept, center=center, sigma=sigma, likelihood_after=chance)
    return CaseProof(
        action_no=action.action_no,
        from_ms=begin,
        at_ms=action.at_ms,
        to_ms=end,
        settling=after.dropped,
        more=max(0, SHOTS_WANTED - int(np.isfinite(after.swept).sum())),
        found=found,
        cushion_before_mm=_middle(before.cushion),
        cushion_after_mm=_middle(after.cushion),
        cushion_change=_change(before.cushion, after.cushion),
        likelihood_before=None if was is None else likelihood(was),
        likelihood_after=chance,
        baseline_no=None if record is None else record.baseline_no,
    )


@dataclasses.dataclass(frozen=True)
class _Side:
    at_ms: NDArray[np.int64]
    swept: Floats
    cushion: Floats
    dropped: int


def _side(
    connection: sa.Connection, press: Press, lag: int, setups: Sequence[int] | None, *, from_ms: int,
    to_ms: int, newest: bool, drop: int = 0,
) -> _Side:  # fmt: skip
    columns = read_columns(
        connection, press.press_id, from_ms=from_ms, to_ms=to_ms, names=sources_of(_SIGNALS),
        limit=SHOTS_MOST + drop, newest=newest, setup_ids=setups,
    )  # fmt: skip
    derived = derive_signals(connection, press, columns, dose_lag=lag)
    keep = ~derived.restart_transient
    keep[:drop] = False
    return _Side(
        at_ms=columns["at_ms"][keep],
        swept=derived.signals["swept_mm"][keep],
        cushion=derived.signals["cushion_mm"][keep],
        dropped=int((~keep).sum()),
    )


def _settled_ms(after: _Side, action: CaseAction) -> int:
    """From when on a score speaks of the press as it runs after the change."""
    return int(after.at_ms[SHOTS_WANTED - 1]) if len(after.at_ms) >= SHOTS_WANTED else action.at_ms + 1


def _lag(connection: sa.Connection, press: Press) -> int:
    if press.dose_lag is not None:
        return press.dose_lag
    return int(press_with_state(connection, press.press_id)["dose_lag_found"] or 0)


def _mold_ids(connection: sa.Connection, press: Press, mold: str) -> list[int] | None:
    if not mold:
        return None
    return [one.setup_id for one in setups_of(connection, press.press_id).values() if one.mold == mold]


def _record(connection: sa.Connection, press: Press, case: Case, action: CaseAction) -> Baseline | None:
    """The startup record that held when it was changed: of the mold, approved, captured before."""
    held = [
        one
        for one in baselines_of(connection, press.press_id)
        if one.state in ("approved", "retired")
        and one.to_ms <= action.at_ms
        and (one.retired_ms is None or one.retired_ms > action.at_ms)
        and (not case.mold or one.mold == case.mold)
    ]
    return held[-1] if held else None


def _of_record(record: Baseline | None) -> tuple[float | None, float | None]:
    swept = {} if record is None else record.signals.get("signals", {}).get("swept_mm", {})
    center, sigma = swept.get("center"), swept.get("sigma")
    return (None, None) if center is None or not sigma else (float(center), float(sigma))


def _change(before: Floats, after: Floats) -> MeanComparison | None:
    found = compare_means(before, second=after, confidence=CONFIDENCE)
    return None if isinstance(found, Undetermined) else found


def _middle(values: Floats) -> float | None:
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else None
