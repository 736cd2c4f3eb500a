"""How long this plant's valves last: each valve's record as a censored life, and laws by kind of valve.

A life counts in shots on the valve. A failure lies between the last age at which somebody found it good
and the age at which it was found failed; a valve already old when its record began enters at that age;
one taken out for another reason, or still in, is censored. All of that is in `maths/life.py`.
"""

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from server.language import N_
from server.maths.life import LifeCurve, Remaining, WeibullLife, life_curve, remaining, weibull_life
from server.maths.results import Undetermined
from server.store.records import Study, Valve, all_valves, checks_of, shots_between

#: What an inspection has to say for the valve to have been good at that age.
_GOOD: Final = ("good", "worn")


@dataclasses.dataclass(frozen=True)
class Life:
    """One valve's life in shots. `left_out`: why it counts for nothing, '' where it counts.

    entry: age when it came under watch. good_until: last age it was known good. failed_by: age at which it
    was found failed, infinite where it has not failed. how: what shows the failure.
    """

    press: str
    valve: Valve
    age: int
    entry: int
    good_until: int
    failed_by: float
    how: str
    left_out: str = ""

    @property
    def failed(self) -> bool:
        return math.isfinite(self.failed_by)


@dataclasses.dataclass(frozen=True)
class LifeGroup:
    """All valves of one style and material pair, with what their records say."""

    style: str
    material_pair: str
    lives: tuple[Life, ...]
    left_out: tuple[Life, ...]
    law: WeibullLife | Undetermined
    curve: LifeCurve | Undetermined

    @property
    def failures(self) -> int:
        return sum(life.failed for life in self.lives)

    def remaining(self, age: float) -> Remaining | Undetermined:
        """What is left to a valve of this kind that is good at an age, in shots."""
        return self.law if isinstance(self.law, Undetermined) else remaining(self.law, age=age)

    def fails_within(self, age: float, shots: float) -> float | Undetermined:
        """Chance that one that is good at an age fails within so many shots."""
        if isinstance(self.law, Undetermined):
            return self.law
        hazard = ((age + shots) / self.law.scale) ** self.law.shape - (age / self.law.scale) ** self.law.shape
        return -math.expm1(-hazard)


def life_groups(connection: sa.Connection) -> list[LifeGroup]:
    """Every kind of valve of the plant with its lives, the commonest first."""
    checks: dict[int, list[Study]] = {}
    kinds: dict[tuple[str, str], list[Life]] = {}
    for press, valve in all_valves(connection):
        if valve.press_id not in checks:
            checks[valve.press_id] = checks_of(connection, valve.press_id)
        life = life_of(connection, press, valve, checks[valve.press_id])
        kinds.setdefault((valve.style, valve.material_pair), []).append(life)
    groups = [_group(style, pair, lives) for (style, pair), lives in kinds.items()]
    return sorted(groups, key=lambda one: (-len(one.lives) - len(one.left_out), one.style, one.material_pair))


def group_of(groups: Sequence[LifeGroup], valve: Valve) -> LifeGroup | None:
    wanted = (valve.style, valve.material_pair)
    return next((one for one in groups if (one.style, one.material_pair) == wanted), None)


def _group(style: str, pair: str, lives: Sequence[Life]) -> LifeGroup:
    counted = [life for life in lives if not life.left_out]
    low = [float(life.good_until) for life in counted]
    high = [life.failed_by for life in counted]
    entry = [float(life.entry) for life in counted]
    unknown = Undetermined(N_("no valve of this kind has a known age"))
    law: WeibullLife | Undetermined = unknown
    curve: LifeCurve | Undetermined = unknown
    if counted:
        law, curve = weibull_life(low, high, entry=entry), life_curve(low, high, entry=entry)
    left_out = tuple(life for life in lives if life.left_out)
    return LifeGroup(style, pair, tuple(counted), left_out, law, curve)


def life_of(connection: sa.Connection, press: str, valve: Valve, checks: Sequence[Study]) -> Life:
    """A valve's life from the ledger and the checks of its press."""
    made = shots_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=valve.removed_ms)
    entry = _entry(connection, valve)
    known = 0 if entry is None else entry

    def age_at(at_ms: int) -> int:
        return known + shots_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=at_ms)

    own = [one for one in checks if _is_on(one, valve)]
    failures = [
        (one.at_ms, "inspection") for one in own if (one.kind, one.verdict) == ("inspection", "failed")
    ]
    if valve.removed_ms is not None:
        if valve.outcome == "failed":
            failures.append((valve.removed_ms, N_("found when it was out")))
        if any(_proves(one, valve) for one in checks):
            failures.append((valve.removed_ms, N_("the change fixed it")))
    first = min(failures, default=None)
    failed_by = math.inf if first is None else float(age_at(first[0]))
    seen_good = [
        age_at(one.at_ms)
        for one in own
        if one.kind == "inspection" and one.verdict in _GOOD and (first is None or one.at_ms < first[0])
    ]
    # A proven case began at the early end of the estimated onset: until then the valve kept its record.
    for one in checks:
        begun = one.result.get("from_ms") if _proves(one, valve) else None
        if isinstance(begun, int) and first is not None and valve.fitted_ms < begun < first[0]:
            seen_good.append(age_at(begun))
    age = known + made
    life = Life(
        press=press,
        valve=valve,
        age=age,
        entry=known,
        good_until=max([known, *seen_good]) if first is not None else age,
        failed_by=failed_by,
        how="" if first is None else first[1],
        left_out=N_("its age is not known") if entry is None else "",
    )
    if not life.left_out and life.failed and life.failed_by <= life.good_until:
        return dataclasses.replace(life, left_out=N_("no shot between the last good look and the failure"))
    return life


def _entry(connection: sa.Connection, valve: Valve) -> int | None:
    """Its age when it was fitted; unknown for one that was in before the first shot and says no count."""
    if valve.shots_before is not None:
        return valve.shots_before
    return 0 if shots_between(connection, valve.press_id, from_ms=0, to_ms=valve.fitted_ms) else None


def _is_on(study: Study, valve: Valve) -> bool:
    """Whether a check was made on this valve."""
    return study.at_ms >= valve.fitted_ms and (valve.removed_ms is None or study.at_ms < valve.removed_ms)


def _proves(study: Study, valve: Valve) -> bool:
    """Whether a proven change says that this valve, which went, had failed."""
    if study.kind != "proof" or study.verdict != "fixed":
        return False
    said = tuple(study.asked.get(name) for name in ("action", "valve_no", "counts"))
    return said == ("valve", valve.valve_no, True)
