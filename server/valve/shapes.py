"""Bounded shapes of the facts: what the judgement weighs, evidence by evidence.

A shape rises from 0 to 1 between two values of a fact, so that no single number can run away with
the score. The bounds are common practice, no source; the weights on them are fitted.
"""

import dataclasses
import functools
import itertools
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from server.valve.blocks import BLOCK
from server.valve.features import FACT_INDEX, SHORT
from server.valve.shapes_joint import JOINT

Floats = NDArray[np.float64]

#: Kinds of known change, as the fact `last_change` has them.
LOT_CHANGE: Final = 1
SETTING_CHANGE: Final = 2
Shapes = dict[str, Floats]


class _Facts:
    """The fact columns by name, each a contiguous copy."""

    def __init__(self, facts: Floats) -> None:
        self._columns = np.ascontiguousarray(facts.T)
        self.length = len(facts)
        self.risen: dict[tuple[float, float], Floats] = {}

    def __getitem__(self, name: str) -> Floats:
        column: Floats = self._columns[FACT_INDEX[name]]
        return column

    def ones(self) -> Floats:
        return np.ones(self.length)


def _ramp(x: Floats, low: float, high: float) -> Floats:
    """0 below low, 1 above high, straight between; NaN stays NaN."""
    return np.minimum(np.maximum((x - low) / (high - low), 0.0), 1.0)


def _or_0(x: Floats) -> Floats:
    """What is not known as 0."""
    return np.where(np.isfinite(x), x, 0.0)


def _log(ratio: Floats) -> Floats:
    return np.log(np.clip(ratio, 0.05, 50.0))


def _steps(x: Floats, name: str, bounds: tuple[float, ...]) -> Shapes:
    """One ramp between each two neighbouring bounds: together a curve that levels off at both ends."""
    names, low, wide = _ramps(name, bounds)
    return dict(zip(names, np.minimum(np.maximum((x - low) / wide, 0.0), 1.0), strict=True))


@functools.cache
def _ramps(name: str, bounds: tuple[float, ...]) -> tuple[tuple[str, ...], Floats, Floats]:
    """Names, lower ends [n, 1] and widths [n, 1] of the ramps between neighbouring bounds."""
    pairs = list(itertools.pairwise(bounds))
    low = np.array([[one] for one, _ in pairs])
    return tuple(f"{name}_{one:g}" for one, _ in pairs), low, np.array([[b - a] for a, b in pairs])


def _z(f: _Facts) -> Floats:
    """Rise over 100 shots in units of what a healthy mean may differ."""
    return f["swept_rise_100_pct"] / f["swept_noise_pct"]


def _risen(f: _Facts, low: float = 1.5, high: float = 5.0) -> Floats:
    """0 to 1: how clearly the swept stroke stands above the record over the last 100 shots."""
    if (low, high) not in f.risen:
        f.risen[low, high] = _or_0(_ramp(_z(f), low, high))
    return f.risen[low, high]


def _clear(f: _Facts) -> Floats:
    """0 to 1: how far the rise stands out of the scatter as it is now; bursts and late shots stay low."""
    scatter = f["swept_sigma_pct"] * np.maximum(f["swept_scatter"], 1.0)
    return _risen(f) * _or_0(_ramp(f["swept_rise_100_pct"] / np.maximum(scatter, 0.02), 1.0, 4.0))


def _swept_level(f: _Facts) -> Shapes:
    z, rise = f["swept_rise_pct"] / f["swept_noise_pct"], f["swept_rise_pct"]
    return {
        "constant": f.ones(),
        **_steps(z, "up", (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 40.0)),
        **_steps(_z(f), "up_100", (1.0, 2.0, 4.0, 8.0)),
        **_steps(rise, "size", (0.08, 0.15, 0.25, 0.4, 0.8, 1.6, 3.2, 6.0)),
        "clear": _clear(f),
        "down": _ramp(-z, 1.0, 3.0),
        "far_down": _ramp(-rise, 0.3, 2.0),
    }


def _swept_scatter(f: _Facts) -> Shapes:
    log_100 = _log(f["swept_scatter"])
    return {
        "constant": f.ones(),
        **_steps(log_100, "wider", (0.05, 0.25, 0.6, 1.3)),
        "wider_20": _ramp(_log(f["swept_scatter_20"]), 0.3, 1.0),
        **_steps(_log(f["swept_scatter_long"]), "wider_long", (0.05, 0.3, 0.8)),
        "narrower": _ramp(-log_100, 0.1, 0.6),
        **_steps(_or_0(_log(f["swept_between"])), "between", (0.1, 0.4, 0.9, 1.6)),
        "between_alone": _or_0(_ramp(_log(f["swept_between"]) - log_100, 0.15, 0.7)),
        **_steps(_or_0(f["swept_bursts"]), "bursts", (0.3, 0.8, 1.6, 4.0)),
        "with_rise": _risen(f) * _ramp(log_100, 0.1, 0.6),
        "rise_alone": _risen(f) * (1.0 - _ramp(log_100, 0.0, 0.35)),
    }


def _low_tail(f: _Facts) -> Shapes:
    beyond = f["low_per_100"] - f["high_per_100"]
    wide = _or_0(_ramp(_log(f["swept_scatter"]), 0.05, 0.4))
    return {
        "constant": f.ones(),
        **_steps(beyond, "falls", (0.9, 4.0, 14.0)),
        "sided": _ramp(f["low_sided_100"], 1.2, 3.0),
        **_steps(f["low_sided_long"], "sided_long", (1.5, 4.0, 10.0)),
        **_steps(f["far_low_100"], "far", (0.5, 1.5, 4.0)),
        **_steps(f["far_low_per_100_long"], "far_long", (0.05, 0.2, 0.8, 3.0)),
        **_steps(_or_0(f["swept_skew"]), "skew", (0.2, 0.5, 1.0, 2.0)),
        **_steps(_or_0(f["swept_skew_long"]), "skew_long", (0.1, 0.3, 0.7, 1.5)),
        "skew_high": _ramp(-_or_0(f["swept_skew"]), 0.2, 1.0),
        **_steps(-_or_0(f["swept_with_peak_long"]), "loses_pressure_long", (0.03, 0.1, 0.3, 0.6)),
        **_steps(_or_0(f["swept_with_peak_long"]), "gains_pressure_long", (0.03, 0.1, 0.3)),
        "loses_pressure": wide * _ramp(-_or_0(f["swept_with_peak"]), 0.1, 0.5),
        "gains_pressure": wide * _ramp(_or_0(f["swept_with_peak"]), 0.1, 0.5),
        "skew_wide": wide * _ramp(_or_0(f["swept_skew"]), 0.2, 1.0),
    }


def _slow_drift(f: _Facts) -> Shapes:
    z = f["swept_slope_pct"] / f["swept_slope_noise_pct"]
    whole = f["long_rise_pct"] / f["swept_slope_noise_pct"]
    ordered = _ramp(f["long_order"], 0.3, 0.8)
    return {
        **_steps(z, "up", (0.7, 1.5, 4.0, 12.0)),
        "up_gradually": _ramp(z, 1.5, 5.0) * _ramp(f["swept_gradual"], 0.5, 0.75),
        "down": _ramp(-z, 2.0, 6.0),
        **_steps(whole, "whole", (0.5, 1.0, 2.0, 5.0, 15.0)),
        "up_for_long": _ramp(whole, 1.0, 4.0) * ordered,
        "far_up_for_long": _ramp(whole, 4.0, 12.0) * ordered,
        "gradually_for_long": _ramp(whole, 1.5, 5.0) * ordered * _ramp(f["long_gradual"], 0.5, 0.8),
        "long_down": _ramp(-whole, 1.5, 5.0),
    }


def _not_shutting(f: _Facts) -> Shapes:
    bottom, now = _or_0(f["bottom_share"]), _or_0(f["bottom_share_last"])
    used = _or_0(f["cushion_used_share"])
    z = f["swept_last_pct"] / f["swept_noise_pct"]
    new = _or_0(f["swept_last_pct"] - f["swept_rise_100_pct"])
    return {
        "leapt_just_now": _ramp(new, 2.0, 5.0) * _ramp(z, 8.0, 20.0),
        "gone_just_now": _ramp(used, 0.7, 1.0) * _ramp(new, 1.0, 3.0),
        **_steps(f["swept_last_pct"], "leaps_by", (2.5, 4.0, 6.0, 10.0)),
        **_steps(new, "new_by", (2.0, 3.0, 4.0, 5.0, 7.0)),
        "new_out_of_scatter": _ramp(new, 2.0, 4.0) * _ramp(new / f["swept_sigma_pct"], 10.0, 30.0),
        "leap": _ramp(f["swept_last_pct"], 2.5, 7.0) * _ramp(z, 8.0, 20.0),
        "leap_20": _ramp(f["swept_rise_pct"], 4.0, 10.0),
        "cushion_gone": _ramp(used, 0.35, 0.9) * _ramp(z, 4.0, 12.0),
        "at_bottom": _ramp(bottom, 0.1, 0.6),
        "at_bottom_now": _ramp(now, 0.3, 0.9),
    }


def _pressure_change(f: _Facts) -> Floats:
    """Percent change of transfer pressure, else of peak pressure."""
    peak, transfer = f["peak_change_pct"], f["transfer_change_pct"]
    both = np.where(np.isfinite(peak), 0.5 * (peak + transfer), transfer)
    return np.where(np.isfinite(transfer), both, peak)


def _pressure_level(f: _Facts) -> Shapes:
    change = _pressure_change(f)
    rise = _or_0(np.maximum(f["swept_rise_100_pct"], 0.0))
    beyond = np.abs(change) - 0.8 * rise
    sag = _or_0(f["peak_change_pct"] - f["transfer_change_pct"])
    fell = _steps(-change / (rise + 0.1), "fell_by_rise", (0.15, 0.5, 1.0, 2.5))
    return {
        "constant": f.ones(),
        "lower": _ramp(-change, 0.4, 2.0),
        "much_lower": _ramp(-change, 2.0, 8.0),
        **_steps(change, "above", (0.2, 0.6, 1.5, 4.0)),
        **_steps(-change, "below", (0.2, 0.6, 1.5, 4.0, 10.0)),
        "higher": _ramp(change, 0.6, 4.0),
        **_steps(beyond, "more_than_leak", (0.5, 1.5, 4.0)),
        "thin_explains": _risen(f) * _ramp(np.maximum(-change, 0.0) / (rise + 0.1), 2.0, 8.0),
        **{name: _risen(f) * ramp for name, ramp in fell.items()},
        "steady_while_risen": _risen(f) * (1.0 - _ramp(np.abs(change), 0.7, 2.5)),
        "steady_while_clear": _clear(f) * (1.0 - _ramp(np.abs(change), 0.7, 2.5)),
        "transfer_sags": _ramp(sag, 0.5, 3.0),
    }


def _pressure_scatter(f: _Facts) -> Shapes:
    log = _log(f["peak_scatter"])
    return {"constant": f.ones(), "wider": _ramp(log, 0.15, 0.6), "much_wider": _ramp(log, 0.6, 1.3)}


def _fill_time(f: _Facts) -> Shapes:
    change = np.abs(f["fill_change_pct"])
    scatter = _ramp(_log(f["fill_scatter"]), 0.2, 1.0)
    return {"constant": f.ones(), "moved": _ramp(change, 1.0, 5.0), "scatter": scatter}


def _recovery(f: _Facts) -> Shapes:
    log = _log(f["recovery_scatter"])
    change = f["recovery_change_pct"]
    scattered = _or_0(_ramp(_log(f["swept_scatter"]), 0.1, 0.5))
    return {
        "constant": f.ones(),
        "uneven": _ramp(log, 0.2, 0.7),
        "very_uneven": _ramp(log, 0.7, 1.4),
        "uneven_with_scatter": _ramp(log, 0.1, 0.5) * scattered,
        "even_with_scatter": (1.0 - _ramp(log, 0.05, 0.3)) * scattered,
        **_steps(change, "slow", (0.2, 0.7, 2.0)),
        "slower": _ramp(change, 2.0, 10.0),
        **_steps(-change, "fast", (0.2, 0.7, 2.0)),
        "faster": _ramp(-change, 2.0, 10.0),
        **_steps(log, "uneven_by", (0.05, 0.12, 0.25)),
    }


def _metering(f: _Facts) -> Shapes:
    log = _log(f["shot_size_scatter"])
    beyond = _or_0(_log(f["swept_scatter"])) - log
    along = _ramp(_or_0(f["swept_with_size"]), 0.1, 0.5)
    return {
        "constant": f.ones(),
        "uneven": _ramp(log, 0.2, 0.8),
        "explains_scatter": _ramp(log, 0.2, 0.8) * (1.0 - _or_0(_ramp(beyond, -0.6, 0.2))),
        "moves_along": along,
        "moves_along_wide": along * _or_0(_ramp(_log(f["swept_scatter"]), 0.1, 0.5)),
    }


def _weight(f: _Facts) -> Shapes:
    change = f["weight_change_pct"]
    z = change / f["weight_noise_pct"]
    rise = _or_0(np.maximum(f["swept_rise_100_pct"], 0.0))
    arrived = _steps(change / (rise + 0.1), "arrived", (0.05, 0.2, 0.4, 0.7))
    missing = (rise - np.maximum(change, 0.0)) / np.hypot(f["swept_noise_pct"], f["weight_noise_pct"])
    return {
        "constant": f.ones(),
        "heavier": _ramp(z, 2.0, 6.0),
        "with_stroke": _ramp(np.minimum(change, rise), 0.15, 1.0),
        "explains_rise": _risen(f) * _ramp(change / (rise + 0.1), 0.3, 0.8),
        "explains_part": _clear(f) * _ramp(change / (rise + 0.1), 0.1, 0.4),
        **_steps(-z, "light", (0.5, 1.0, 2.0, 4.0, 8.0)),
        **{name: _risen(f) * ramp for name, ramp in arrived.items()},
        "lighter": _ramp(-z, 2.0, 6.0),
        "lighter_while_risen": _risen(f) * _ramp(-z, 1.0, 5.0),
        "lighter_not_risen": (1.0 - _risen(f, 0.0, 2.0)) * _ramp(-z, 2.0, 6.0),
        **_steps(missing, "not_in_part", (1.5, 4.0, 12.0)),
        "not_in_part_while_clear": _clear(f) * _ramp(missing, 1.5, 6.0),
        "uneven": _or_0(_ramp(_log(f["weight_scatter"]), 0.2, 0.9)),
    }


def _gate_seal_drift(f: _Facts) -> Shapes:
    z = f["drift_rise_sigma"]
    still = 1.0 - _ramp(z, 0.5, 3.0)
    return {
        "constant": f.ones(),
        **_steps(z, "rises", (0.3, 1.0, 2.0, 4.0, 8.0, 16.0)),
        "still_while_risen": _risen(f) * still,
        "still_while_clear": _clear(f) * still,
        "risen_both": _risen(f, 1.0, 3.0) * _ramp(z, 0.5, 3.0),
    }


def _known_change(f: _Facts) -> Shapes:
    since = f["shots_since_change"]
    moved = _or_0(np.abs(f["change_explains_pct"]))
    recent = 1.0 - _ramp(since, 20.0, 400.0)
    return {"recent": recent, "moved": _ramp(moved, 0.2, 1.5) * np.where(np.isfinite(since), 1.0, np.nan)}


def _shape(f: _Facts) -> Shapes:
    size, cushion = f["shot_size_change_mm"], f["cushion_change_mm"]
    together = np.minimum(np.abs(size), np.abs(cushion)) * np.where(size * cushion > 0, 1.0, 0.0)
    moved = _ramp(_or_0(np.abs(f["change_explains_pct"])), 0.1, 0.8)
    last = _or_0(f["last_change"])
    sudden = np.abs(f["swept_last_pct"] - f["swept_rise_100_pct"])
    return {
        "constant": f.ones(),
        "both_moved": _ramp(together, 0.2, 1.0),
        "size_moved": _ramp(np.abs(size), 0.2, 1.0),
        "swept_down": _ramp(-f["swept_rise_pct"], 0.5, 3.0),
        "lot_moved": moved * (last == LOT_CHANGE),
        "setting_moved": moved * (last == SETTING_CHANGE),
        "sudden": _ramp(sudden, 0.5, 3.0),
        "cushion_scatter": _ramp(_log(f["cushion_scatter"]), 0.2, 1.0),
    }


#: Evidence id -> its shapes. The order here is the order of TERMS and of the sum.
EVIDENCE: Final[dict[str, Callable[[_Facts], Shapes]]] = {
    "swept_level": _swept_level,
    "swept_scatter": _swept_scatter,
    "low_tail": _low_tail,
    "slow_drift": _slow_drift,
    "not_shutting": _not_shutting,
    "pressure_level": _pressure_level,
    "pressure_scatter": _pressure_scatter,
    "fill_time": _fill_time,
    "recovery": _recovery,
    "metering": _metering,
    "weight": _weight,
    "gate_seal_drift": _gate_seal_drift,
    "known_change": _known_change,
}

#: Evidence that cushion and shot size alone can give.
TWO_SIGNALS: Final = ("swept_level", "swept_scatter", "low_tail", "slow_drift", "not_shutting", "metering",
                      "known_change")  # fmt: skip
#: Shapes that only help to rank causes.
CAUSE_ONLY: Final = "shape"
#: Facts of signals beyond shot size and cushion.
_BEYOND_TWO: Final = (
    "peak_change_pct",
    "transfer_change_pct",
    "fill_change_pct",
    "recovery_change_pct",
    "weight_change_pct",
    "drift_rise_mm",
)


@dataclasses.dataclass(frozen=True)
class Design:
    """Every shape of every evidence: rows [n, k] in the order of `names`, 0 where the evidence is missing."""

    rows: Floats
    few_signals: NDArray[np.bool_]
    enough: NDArray[np.bool_]

    @property
    def columns(self) -> dict[str, Floats]:
        """{"term.shape": float64 [k]}."""
        return dict(zip(names(), self.rows, strict=True))


def design(facts: Floats) -> Design:
    """The shapes of facts [k, F], in a fixed order. An evidence with any NaN fact is 0 throughout."""
    f = _Facts(facts)
    parts = []
    for shapes in (*EVIDENCE.values(), _shape):
        found = np.stack(list(shapes(f).values()))
        parts.append(np.where(np.isfinite(found).all(axis=0), found, 0.0))
    single = np.concatenate(parts)
    one, other = _joined()
    few = np.ones(f.length, dtype=bool)
    for name in _BEYOND_TWO:
        few &= ~np.isfinite(f[name])
    enough = np.isfinite(f["swept_rise_pct"]) & (f["shots_seen"] >= SHORT * BLOCK)
    return Design(np.concatenate([single, single[one] * single[other]]), few_signals=few, enough=enough)


@functools.cache
def _single_names() -> tuple[str, ...]:
    unknown = _Facts(np.full((1, len(FACT_INDEX)), np.nan))
    every = (*EVIDENCE.items(), (CAUSE_ONLY, _shape))
    return tuple(f"{term}.{name}" for term, shapes in every for name in shapes(unknown))


@functools.cache
def names() -> tuple[str, ...]:
    """The "term.shape" of every row of a design."""
    return (*_single_names(), *JOINT)


@functools.cache
def _joined() -> tuple[list[int], list[int]]:
    """Rows whose products are the joint shapes."""
    place = {name: i for i, name in enumerate(_single_names())}
    return [place[one] for one, _ in JOINT.values()], [place[other] for _, other in JOINT.values()]
