"""Evidence and causes in plain English: one sentence a term, with its numbers.

The sentences are templates over the facts of `features.FACTS`; lengths in mm, pressures in percent
of the startup record. `words` may translate them; the ids stay.
"""

import math
from collections.abc import Callable, Mapping
from typing import Final

#: Short words for a cause, as a press's row shows it.
CAUSE_TEXT: Final[dict[str, str]] = {
    "sealing": "Sealing well",
    "erratic_closing": "Closing late on some shots",
    "steady_leak": "Leaking past the valve",
    "not_closing": "Valve does not shut",
    "uneven_melt": "Melt is uneven",
    "metering": "Dosing is uneven",
    "worn_screw": "Screw recovers more slowly",
    "viscosity_shift": "Melt flows differently",
    "setting_change": "A setting has changed",
    "position_reference": "Position reading has shifted",
    "flash": "Parts flash",
    "blocked_cavity": "A cavity is blocked",
    "outward_leak": "Melt escapes outside",
    "unexplained": "Pattern fits no known cause",
}

#: Short names of the terms, for a column head or a list.
TERM_TEXT: Final[dict[str, str]] = {
    "prior": "Before any data",
    "swept_level": "Level of the swept stroke",
    "swept_scatter": "Scatter of the swept stroke",
    "low_tail": "Single shots that fall out low",
    "slow_drift": "Slow drift of the swept stroke",
    "not_shutting": "Sudden loss of the cushion",
    "pressure_level": "Injection pressure",
    "pressure_scatter": "Scatter of the injection pressure",
    "fill_time": "Fill time",
    "recovery": "Recovery per millimetre",
    "metering": "Scatter of the shot size",
    "weight": "Weight of the shot",
    "gate_seal_drift": "Screw drift after the gate has sealed",
    "known_change": "Known changes",
    "few_signals": "What cannot be told",
    "own_inspections": "Inspections of this plant",
}

Facts = Mapping[str, float]


def _known(value: float) -> bool:
    return math.isfinite(value)


def _mm(value: float) -> str:
    return f"{abs(value):.2f} mm" if abs(value) < 1 else f"{abs(value):.1f} mm"


def _pct(value: float) -> str:
    size = abs(value)
    return f"{size:.1f} %" if size < 10 else f"{size:.0f} %"


def _side(value: float) -> str:
    return "above" if value >= 0 else "below"


def _times(ratio: float) -> str:
    return f"{ratio:.1f} times"


def _swept_level(f: Facts) -> str:
    mm, pct = f["swept_rise_mm"], f["swept_rise_pct"]
    if abs(pct) < 2 * f["swept_noise_pct"]:
        return f"Swept stroke is within {_mm(mm)} of the startup record"
    return f"Swept stroke is {_mm(mm)} ({_pct(pct)}) {_side(mm)} the startup record"


def _swept_scatter(f: Facts) -> str:
    ratio = f["swept_scatter"]
    if 0.8 <= ratio <= 1.15:
        return "Scatter of swept stroke is as at startup"
    return f"Scatter of swept stroke is {_times(ratio)} that at startup"


def _low_tail(f: Facts) -> str:
    low = max(f["low_per_100"], f["low_per_100_long"] if _known(f["low_per_100_long"]) else 0.0)
    if low < 0.5:
        return "No single shots fall out low"
    return f"One shot in {max(1, round(100 / low))} falls out with a low cushion"


def _slow_drift(f: Facts) -> str:
    long, shots = f.get("long_rise_pct", math.nan), f.get("long_shots", math.nan)
    if _known(long) and shots > 1000 and abs(long) >= 2 * f["swept_slope_noise_pct"]:
        grown = f"{'grown' if long > 0 else 'shrunk'} {_pct(long)}"
        way = " bit by bit" if long > 0 and f["long_gradual"] > 0.6 else ""
        return f"Swept stroke has {grown}{way} over the {shots:,.0f} shots since the record"
    slope = f["swept_slope_pct"]
    if abs(slope) < 1.5 * f["swept_slope_noise_pct"]:
        return "Swept stroke does not drift over the last 1,000 shots"
    way = "bit by bit" if f["swept_gradual"] > 0.6 else "in one step" if f["swept_gradual"] < 0.5 else ""
    moved = f"{'grown' if slope > 0 else 'shrunk'} {_pct(slope)}"
    return f"Swept stroke has {moved}{' ' + way if way and slope > 0 else ''} over the last 1,000 shots"


def _not_shutting(f: Facts) -> str:
    share = f["bottom_share"]
    if _known(share) and share >= 0.1:
        return f"The screw went to bottom on {round(100 * share)} % of the last 20 shots"
    if f["swept_last_pct"] > 5:
        return f"Swept stroke leapt by {_pct(f['swept_last_pct'])} within five shots"
    return "The cushion holds"


def _pressure_level(f: Facts) -> str:
    change, name = f["peak_change_pct"], "Peak pressure"
    if not _known(change):
        change, name = f["transfer_change_pct"], "Transfer pressure"
    if abs(change) < 0.4:
        return f"{name} is as at startup"
    return f"{name} is {_pct(change)} {'higher' if change > 0 else 'lower'} than at startup"


def _pressure_scatter(f: Facts) -> str:
    ratio = f["peak_scatter"]
    if ratio <= 1.15:
        return "Peak pressure repeats as at startup"
    return f"Scatter of peak pressure is {_times(ratio)} that at startup"


def _fill_time(f: Facts) -> str:
    change = f["fill_change_pct"]
    if abs(change) < 1:
        return "Fill time is as at startup"
    return f"Fill takes {_pct(change)} {'longer' if change > 0 else 'less'} than at startup"


def _recovery(f: Facts) -> str:
    ratio, change = f["recovery_scatter"], f["recovery_change_pct"]
    if ratio > 1.25:
        return f"Scatter of recovery per mm is {_times(ratio)} that at startup: melt looks uneven"
    if abs(change) >= 2:
        return f"Recovery per mm is {_pct(change)} {'slower' if change > 0 else 'faster'} than at startup"
    return "Recovery per mm is unchanged: melt looks even"


def _metering(f: Facts) -> str:
    ratio = f["shot_size_scatter"]
    if ratio <= 1.25:
        return "Shot size is dosed as evenly as at startup"
    return f"Scatter of shot size is {_times(ratio)} that at startup"


def _weight(f: Facts) -> str:
    change = f["weight_change_pct"]
    if abs(change) < 2 * f["weight_noise_pct"]:
        if f["swept_rise_pct"] > 1:
            return "Weight is unchanged though the screw travels further: the melt went elsewhere"
        return "Weight is as at startup"
    return f"The shot is {_pct(change)} {'heavier' if change > 0 else 'lighter'} than at startup"


def _gate_seal_drift(f: Facts) -> str:
    rise = f["drift_rise_mm"]
    if f["drift_rise_sigma"] < 1:
        return "The screw stands still after the gate has sealed, as at startup"
    return f"The screw drifts {_mm(rise)} more than at startup after the gate has sealed"


def _known_change(f: Facts) -> str:
    moved = f["change_explains_pct"]
    since = f["shots_since_change"]
    if not _known(since):
        return "No known change since startup"
    if not _known(moved) or abs(moved) < 0.1:
        return f"The change {since:.0f} shots ago moved nothing"
    return f"Known changes explain {_pct(moved)} of swept stroke"


def _two_signals(f: Facts) -> bool:
    """Whether cushion and shot size are all there is."""
    others = ("peak_change_pct", "transfer_change_pct", "fill_change_pct", "recovery_change_pct",
              "weight_change_pct", "drift_rise_mm")  # fmt: skip
    return not any(_known(f[name]) for name in others)


def settled_by(f: Facts) -> tuple[str, ...]:
    """What would tell a leak from what looks like one, where cushion and shot size are all there is.

    >>> from server.valve.features import FACTS
    >>> settled_by({name: float("nan") for name in FACTS})
    ('part_weight_g', 'peak_pressure_bar', 'drift_check')
    """
    return ("part_weight_g", "peak_pressure_bar", "drift_check") if _two_signals(f) else ()


def _few_signals(f: Facts) -> str:
    if not _two_signals(f):
        return "Surer than this, shots alone cannot be"
    return (
        "Cushion and shot size alone cannot tell a leak from flash, melt escaping outside or thinner"
        " melt; shot weight, injection pressure or a drift check would settle it"
    )


_SENTENCES: Final[dict[str, Callable[[Facts], str]]] = {
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
    "few_signals": _few_signals,
}

#: The facts a sentence cannot do without; with one missing the signal is not there.
_NEEDED: Final[dict[str, tuple[str, ...]]] = {
    "swept_level": ("swept_rise_mm", "swept_rise_pct", "swept_noise_pct"),
    "swept_scatter": ("swept_scatter",),
    "low_tail": ("low_per_100",),
    "slow_drift": ("swept_slope_pct", "swept_slope_noise_pct"),
    "not_shutting": ("swept_last_pct",),
    "pressure_scatter": ("peak_scatter",),
    "fill_time": ("fill_change_pct",),
    "recovery": ("recovery_scatter", "recovery_change_pct"),
    "metering": ("shot_size_scatter",),
    "weight": ("weight_change_pct",),
    "gate_seal_drift": ("drift_rise_mm",),
}


def _own_inspections(log_odds: float) -> str:
    if log_odds == 0:
        return "No inspections of this plant correct the score"
    return f"Inspections of this plant make a score like this {'surer' if log_odds > 0 else 'less sure'}"


def term_sentence(term: str, *, log_odds: float, facts: Facts) -> str:
    """One sentence on a term, with its numbers and no full stop.

    facts: the row of `features.FACTS` by name, NaN where missing. log_odds: the term's share; 0 with
    the facts missing says that the signal is not there.

    >>> from server.valve.features import FACTS
    >>> row = {name: float("nan") for name in FACTS}
    >>> row |= {"swept_rise_mm": 0.8, "swept_rise_pct": 1.3, "swept_noise_pct": 0.2}
    >>> term_sentence("swept_level", log_odds=1.8, facts=row)
    'Swept stroke is 0.80 mm (1.3 %) above the startup record'
    >>> term_sentence("weight", log_odds=0.0, facts=row)
    'Weight of the shot: not known'
    """
    needed = _NEEDED.get(term, ())
    pressures = ("peak_change_pct", "transfer_change_pct")
    gone = not all(_known(facts[name]) for name in needed)
    if term == "pressure_level":
        gone = not any(_known(facts[name]) for name in pressures)
    if gone:
        early = "not enough shots yet" if term == "slow_drift" else "not known"
        return f"{TERM_TEXT[term]}: {early}"
    if term == "own_inspections":
        return _own_inspections(log_odds)
    if term == "few_signals" and log_odds == 0 and not _two_signals(facts):
        return "The signals at hand are enough to tell a leak from what looks like one"
    return _SENTENCES[term](facts)
