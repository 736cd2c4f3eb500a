"""The phase-one report of a startup record: what was left out and why, and what the rest comes to.

One function for the page, the API and the printed record. Everything comes from what was kept when the
record was captured, so a report never changes; the times of what was left out are read from the shots.
"""

import collections
import dataclasses
import math
from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.contract import SIGNALS
from server.derived.baseline_shots import RecordShots, record_shots
from server.derived.qualification import Qualification, qualification_of
from server.maths.baseline import sufficiency_of
from server.maths.guarantee import guaranteed_multiplier, run_length_kept
from server.store.plant import Press, Setup
from server.store.records import Baseline

#: Fewest values for which run length and multiplier mean anything (as `maths.guarantee` asks).
_FEWEST: Final = 10
#: Below this chance the values are not called normal (common practice, no source).
NORMAL_P: Final = 0.05


@dataclasses.dataclass(frozen=True)
class SignalReport:
    """One signal of a record, in its stored unit; None: not kept, or it cannot be said.

    center is the median, sigma the one behind the limits; sigma_within from neighbours, sigma_total of all
    values with its 95 % interval; step: of the display; phi: autocorrelation of neighbours with its 95 %
    interval; run_length_kept: shots until a false alarm that the limits keep on nine of ten such records;
    multiplier: how many sigma would keep 370; left_out: shots by reason; unknown: shots without a reading.
    """

    signal: str
    n: int
    n_effective: float | None
    center: float
    mean: float | None
    sigma: float
    sigma_within: float | None
    sigma_total: float | None
    sigma_lower: float | None
    sigma_upper: float | None
    lower: float | None
    upper: float | None
    run_length_kept: float | None
    multiplier: float | None
    step: float | None
    phi: float | None
    phi_lower: float | None
    phi_upper: float | None
    normality_p: float | None
    sufficient: bool
    sufficiency: str
    stable: bool | None
    verdict: str
    left_out: Mapping[str, int]
    unknown: int

    @property
    def normal(self) -> bool | None:
        """Whether a normal shape can be kept; None where it could not be tested."""
        return None if self.normality_p is None else self.normality_p >= NORMAL_P


@dataclasses.dataclass(frozen=True)
class LeftOut:
    """A shot left out of one or more signals: `index` counts from the first shot of the record.

    reason: `warm_up`, `transient`, `restart`, `outlier`, `not_good`. at_ms and counter are None when the
    shots stored now are not those the record was captured from any more.
    """

    index: int
    reason: str
    signals: tuple[str, ...]
    at_ms: int | None
    counter: int | None


@dataclasses.dataclass(frozen=True)
class BaselineReport:
    """A record as it was judged. missing: signals that could not be judged, with the reason.

    made_with: the set-ups of its shots, the newest last. shots_changed: shots of this stretch came or went
    after the capture, so that times of what was left out cannot be told.
    """

    baseline: Baseline
    signals: tuple[SignalReport, ...]
    missing: Mapping[str, str]
    left_out: tuple[LeftOut, ...]
    made_with: tuple[Setup, ...]
    shots_changed: bool
    qualification: Qualification


def baseline_report(connection: sa.Connection, press: Press, baseline: Baseline) -> BaselineReport:
    """The phase-one report of a record, whatever its state."""
    shots = record_shots(connection, press, baseline)
    kept: Mapping[str, Mapping[str, Any]] = baseline.signals.get("signals", {})
    names = [name for name in SIGNALS if name in kept]
    return BaselineReport(
        baseline=baseline,
        signals=tuple(signal_report(name, kept[name], shots=baseline.shots) for name in names),
        missing=dict(baseline.signals.get("missing", {})),
        left_out=_left_out({name: kept[name] for name in names}, shots),
        made_with=shots.setups,
        shots_changed=shots.changed,
        qualification=qualification_of(connection, press, baseline),
    )


def signal_report(name: str, kept: Mapping[str, Any], *, shots: int) -> SignalReport:
    """One signal from what was kept of it; `shots` of the whole record."""
    left_out = collections.Counter(str(reason) for _, reason in kept.get("excluded") or ())
    n, phi = int(kept.get("n") or 0), _number(kept, "phi")
    effective = _number(kept, "n_effective")
    sufficient, why = sufficiency_of(n, effective=n if effective is None else effective)
    enough = n >= _FEWEST
    return SignalReport(
        signal=name,
        n=n,
        n_effective=effective,
        center=float(kept["center"]),
        mean=_number(kept, "mean"),
        sigma=float(kept["sigma"]),
        sigma_within=_number(kept, "sigma_within"),
        sigma_total=_number(kept, "sigma_total"),
        sigma_lower=_number(kept, "sigma_lower"),
        sigma_upper=_number(kept, "sigma_upper"),
        lower=_number(kept, "lower"),
        upper=_number(kept, "upper"),
        run_length_kept=run_length_kept(n, phi=phi or 0.0, center="median").run_length if enough else None,
        multiplier=guaranteed_multiplier(n, phi=phi or 0.0, center="median") if enough else None,
        step=_number(kept, "step"),
        phi=phi,
        phi_lower=_number(kept, "phi_lower"),
        phi_upper=_number(kept, "phi_upper"),
        normality_p=_number(kept, "normality_p"),
        sufficient=sufficient,
        sufficiency=why,
        stable=None if kept.get("stable") is None else bool(kept["stable"]),
        verdict=str(kept.get("verdict") or ""),
        left_out=dict(left_out),
        unknown=max(0, shots - n - sum(left_out.values())),
    )


def _number(kept: Mapping[str, Any], name: str) -> float | None:
    value = kept.get(name)
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def _left_out(kept: Mapping[str, Mapping[str, Any]], shots: RecordShots) -> tuple[LeftOut, ...]:
    """By shot and reason, so that a restart is listed once and not once a signal."""
    found: dict[tuple[int, str], list[str]] = {}
    for name, one in kept.items():
        for index, reason in one.get("excluded") or ():
            found.setdefault((int(index), str(reason)), []).append(name)
    rows = []
    for (index, reason), signals in sorted(found.items()):
        known = not shots.changed and 0 <= index < len(shots.at_ms)
        rows.append(
            LeftOut(
                index=index,
                reason=reason,
                signals=tuple(signals),
                at_ms=int(shots.at_ms[index]) if known else None,
                counter=int(shots.counter[index]) if known else None,
            )
        )
    return tuple(rows)
