"""Two startup records of a press, or a record and the newest shots, compared signal by signal.

The values themselves are compared, as `maths.comparison` does it, with effective sample sizes. Where the
shots of a record are not those it was captured from any more, the numbers kept with it are taken instead.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from server.contract import SHOT_NUMBERS, SIGNALS
from server.derived.baseline_shots import record_shots
from server.derived.standing import setups_compared
from server.derived.values import derive_signals
from server.language import N_
from server.maths.autocorrelation import autocorrelation, effective_for_mean, effective_for_scatter
from server.maths.comparison import MeanComparison, compare_means, compare_scatter
from server.maths.effects import Effect, RatioOfSigmas, Summary, compare_summaries, hedges_g, holm
from server.maths.guarantee import MEDIAN_COST
from server.maths.results import Undetermined
from server.store.plant import Press
from server.store.records import Baseline
from server.store.shots import read_columns

Floats = NDArray[np.float64]

#: Newest shots taken as "now".
NOW_SHOTS: Final = 200
#: Chance, over all signals together, to call a difference that is none.
CALLED_P: Final = 0.05
_BAD: Final = frozenset({"short", "flash", "other"})


@dataclasses.dataclass(frozen=True)
class Side:
    """One of the two: `baseline` is None for the newest shots. signals: float64 [n], NaN where left out.

    `from_ms` and `to_ms` are those of its first and last shot.
    """

    baseline: Baseline | None
    at_ms: NDArray[np.int64]
    signals: Mapping[str, Floats]
    kept: Mapping[str, Mapping[str, Any]]
    from_ms: int
    to_ms: int
    shots: int


@dataclasses.dataclass(frozen=True)
class SignalCompared:
    """One signal of both. `reason`: why it cannot be compared, then everything else is None.

    means: second minus first, in the signal's unit; effect: the same in sigmas (Hedges' g); sigmas: second
    over first. n: values of each. moved, scattered: it cannot be chance, all signals considered together
    (Holm, 5 %). from_values: the values were compared, not the numbers kept of them.
    """

    signal: str
    n: tuple[int, int]
    mean: tuple[float, float] | None = None
    sigma: tuple[float, float] | None = None
    means: MeanComparison | None = None
    effect: Effect | None = None
    sigmas: RatioOfSigmas | None = None
    moved: bool = False
    scattered: bool = False
    from_values: bool = True
    reason: str = ""


@dataclasses.dataclass(frozen=True)
class Compared:
    """`same_process`: press, mold, material and named set-up are the same on both sides."""

    first: Side
    second: Side
    signals: tuple[SignalCompared, ...]
    same_process: bool


def compare_records(connection: sa.Connection, press: Press, first: Baseline, second: Baseline) -> Compared:
    """Two records of one press, whatever their states."""
    return _compared(_of_record(connection, press, first), _of_record(connection, press, second))


def compare_with_now(
    connection: sa.Connection, press: Press, baseline: Baseline, *, shots: int = NOW_SHOTS
) -> Compared | Undetermined:
    """A record against the newest shots made after it with its mold, material and set-up.

    Restarts and shots not called good are left out as in a record; values far off stay in, since they may
    be what is looked for.
    """
    now = _newest(connection, press, baseline, shots)
    if isinstance(now, Undetermined):
        return now
    return _compared(_of_record(connection, press, baseline), now)


def _of_record(connection: sa.Connection, press: Press, baseline: Baseline) -> Side:
    found = record_shots(connection, press, baseline)
    return Side(
        baseline=baseline,
        at_ms=found.at_ms,
        signals=found.signals,
        kept=baseline.signals.get("signals", {}),
        from_ms=baseline.from_ms,
        to_ms=baseline.to_ms,
        shots=baseline.shots,
    )


def _newest(connection: sa.Connection, press: Press, baseline: Baseline, shots: int) -> Side | Undetermined:
    columns = read_columns(
        connection,
        press.press_id,
        from_ms=baseline.to_ms + 1,
        names=(*SHOT_NUMBERS, "quality"),
        limit=2 * shots,
        newest=True,
        setup_ids=setups_compared(connection, press, baseline),
    )
    lag = int(baseline.signals.get("dose_lag") or 0)
    derived = derive_signals(connection, press, columns, dose_lag=lag, pause_before=True)
    bad = np.array([one in _BAD for one in columns["quality"]], dtype=bool)
    keep = np.flatnonzero(~derived.restart_transient & ~bad)[-shots:]
    if not len(keep):
        return Undetermined(N_("no settled shots since the record"))
    at_ms = columns["at_ms"][keep]
    signals = {name: np.asarray(derived.signals[name][keep], dtype=np.float64) for name in SIGNALS}
    return Side(
        baseline=None,
        at_ms=at_ms,
        signals={name: values for name, values in signals.items() if np.isfinite(values).any()},
        kept={},
        from_ms=int(at_ms[0]),
        to_ms=int(at_ms[-1]),
        shots=len(keep),
    )


def _compared(first: Side, second: Side) -> Compared:
    names = [name for name in SIGNALS if any(_has(side, name) for side in (first, second))]
    rows = _called([_signal(name, first, second) for name in names])
    return Compared(first, second, rows, _same(first, second))


def _has(side: Side, name: str) -> bool:
    return name in side.signals or name in side.kept


def _same(first: Side, second: Side) -> bool:
    one, other = first.baseline, second.baseline
    if one is None or other is None:
        return True
    return (one.mold, one.material, one.setup) == (other.mold, other.material, other.setup)


def _signal(name: str, first: Side, second: Side) -> SignalCompared:
    missing = [side for side in (first, second) if not _has(side, name)]
    if missing:
        which = N_("startup") if missing[0] is first else N_("later")
        return SignalCompared(name, (0, 0), reason=N_("the {which} stretch does not hold it", which=which))
    if name in first.signals and name in second.signals:
        return _from_values(name, first.signals[name], second.signals[name])
    return _from_summaries(name, _summary(first, name), _summary(second, name))


def _from_values(name: str, one: Floats, other: Floats) -> SignalCompared:
    n = (int(np.isfinite(one).sum()), int(np.isfinite(other).sum()))
    means, scatter = compare_means(one, second=other), compare_scatter([one, other])
    if isinstance(means, Undetermined):
        return SignalCompared(name, n, reason=means.reason)
    sigmas = None
    if not isinstance(scatter, Undetermined):
        sigmas = RatioOfSigmas(scatter.ratios[1], scatter.ratio_lower[1], scatter.ratio_upper[1], scatter.p)
    return SignalCompared(
        name,
        n,
        mean=(float(np.nanmean(one)), float(np.nanmean(other))),
        sigma=(float(np.nanstd(one, ddof=1)), float(np.nanstd(other, ddof=1))),
        means=means,
        effect=hedges_g(means),
        sigmas=sigmas,
    )


def _summary(side: Side, name: str) -> tuple[Summary, int]:
    """From the values where they are there, else from what was kept."""
    if name in side.signals:
        values = side.signals[name]
        n, seen = int(np.isfinite(values).sum()), autocorrelation(values)
        phi = 0.0 if isinstance(seen, Undetermined) else max(0.0, seen.phi)
        mean, sigma = float(np.nanmean(values)), float(np.nanstd(values, ddof=1)) if n > 1 else math.nan
        return _worth(mean, sigma, n, phi), n
    kept = side.kept[name]
    n, phi = int(kept.get("n") or 0), max(0.0, float(kept.get("phi") or 0.0))
    sigma = float(kept.get("sigma_total") or kept["sigma"])
    if kept.get("mean") is None:
        # Records kept before the mean was: their middle is a median, which is known less surely.
        found = _worth(float(kept["center"]), sigma, n, phi)
        return dataclasses.replace(found, n_mean=found.n_mean / MEDIAN_COST), n
    return _worth(float(kept["mean"]), sigma, n, phi), n


def _worth(mean: float, sigma: float, n: int, phi: float) -> Summary:
    if n < 1:
        return Summary(mean, sigma, 0.0, 0.0)
    return Summary(mean, sigma, effective_for_mean(n, phi=phi), effective_for_scatter(n, phi=phi))


def _from_summaries(name: str, one: tuple[Summary, int], other: tuple[Summary, int]) -> SignalCompared:
    n = (one[1], other[1])
    if not all(part.sigma > 0.0 and part.n_mean >= 2.0 for part, _ in (one, other)):
        return SignalCompared(name, n, reason=N_("too few values, or no scatter, on one side"))
    means, sigmas = compare_summaries(one[0], second=other[0])
    return SignalCompared(
        name,
        n,
        mean=(one[0].mean, other[0].mean),
        sigma=(one[0].sigma, other[0].sigma),
        means=means,
        effect=hedges_g(means),
        sigmas=sigmas,
        from_values=False,
    )


def _called(rows: Sequence[SignalCompared]) -> tuple[SignalCompared, ...]:
    """With what cannot be chance marked, means and sigmas of all signals being asked about together."""
    asked = [(i, 0, row.means.p) for i, row in enumerate(rows) if row.means is not None]
    asked += [(i, 1, row.sigmas.p) for i, row in enumerate(rows) if row.sigmas is not None]
    adjusted = holm([chance for _, _, chance in asked])
    called = {(i, of) for (i, of, _), p in zip(asked, adjusted, strict=True) if p <= CALLED_P}
    return tuple(
        dataclasses.replace(row, moved=(i, 0) in called, scattered=(i, 1) in called)
        for i, row in enumerate(rows)
    )


def compared_item(found: Compared, *, when: Any) -> dict[str, Any]:
    """As the API writes it; `when` turns milliseconds into text."""
    return {
        "first": _side_item(found.first, when),
        "second": _side_item(found.second, when),
        "same_process": found.same_process,
        "signals": [_signal_item(one) for one in found.signals],
    }


def _side_item(side: Side, when: Any) -> dict[str, Any]:
    return {
        "baseline": None if side.baseline is None else side.baseline.baseline_no,
        "from": when(side.from_ms),
        "to": when(side.to_ms),
        "shots": side.shots,
    }


def _signal_item(one: SignalCompared) -> dict[str, Any]:
    if one.means is None or one.effect is None or one.mean is None or one.sigma is None:
        return {"signal": one.signal, "n": list(one.n), "reason": one.reason}
    item: dict[str, Any] = {
        "signal": one.signal,
        "n": list(one.n),
        "n_effective": list(one.means.n_effective),
        "mean": list(one.mean),
        "sigma": list(one.sigma),
        "difference": one.means.difference,
        "difference_interval": [one.means.lower, one.means.upper],
        "p": one.means.p,
        "effect": one.effect.g,
        "effect_interval": [one.effect.lower, one.effect.upper],
        "sigma_ratio": None,
        "sigma_ratio_interval": None,
        "moved": one.moved,
        "scattered": one.scattered,
        "from_values": one.from_values,
    }
    if one.sigmas is not None:
        item["sigma_ratio"] = one.sigmas.ratio
        item["sigma_ratio_interval"] = [one.sigmas.lower, one.sigmas.upper]
    return item
