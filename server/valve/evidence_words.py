"""Evidence and causes in plain English: one sentence a term, with its numbers.

The sentences are templates over the facts of `features.FACTS`; lengths in mm, pressures in percent
of the startup record. `words` may translate them; the ids stay.
"""

import math
from collections.abc import Callable, Mapping
from typing import Final

from server.language import N_, Measured

#: Short words for a cause, as a press's row shows it.
CAUSE_TEXT: Final[dict[str, str]] = {
    "sealing": N_("Sealing well"),
    "erratic_closing": N_("Closing late on some shots"),
    "steady_leak": N_("Leaking past the valve"),
    "not_closing": N_("Valve does not shut"),
    "uneven_melt": N_("Melt is uneven"),
    "metering": N_("Dosing is uneven"),
    "worn_screw": N_("Screw recovers more slowly"),
    "viscosity_shift": N_("Melt flows differently"),
    "setting_change": N_("A setting has changed"),
    "position_reference": N_("Position reading has shifted"),
    "flash": N_("Parts flash"),
    "blocked_cavity": N_("A cavity is blocked"),
    "outward_leak": N_("Melt escapes outside"),
    "unexplained": N_("Pattern fits no known cause"),
}

#: Short names of the terms, for a column head or a list.
TERM_TEXT: Final[dict[str, str]] = {
    "prior": N_("Before any data"),
    "swept_level": N_("Level of the swept stroke"),
    "swept_scatter": N_("Scatter of the swept stroke"),
    "low_tail": N_("Single shots that fall out low"),
    "slow_drift": N_("Slow drift of the swept stroke"),
    "not_shutting": N_("Sudden loss of the cushion"),
    "pressure_level": N_("Injection pressure"),
    "pressure_scatter": N_("Scatter of the injection pressure"),
    "fill_time": N_("Fill time"),
    "recovery": N_("Recovery per millimetre"),
    "metering": N_("Scatter of the shot size"),
    "weight": N_("Weight of the shot"),
    "gate_seal_drift": N_("Screw drift after the gate has sealed"),
    "known_change": N_("Known changes"),
    "few_signals": N_("What cannot be told"),
    "own_inspections": N_("Inspections of this plant"),
}

Facts = Mapping[str, float]


def _known(value: float) -> bool:
    return math.isfinite(value)


def _mm(value: float) -> Measured:
    return Measured("length", abs(value), 2 if abs(value) < 1 else 1)


def _pct(value: float) -> str:
    size = abs(value)
    return f"{size:.1f} %" if size < 10 else f"{size:.0f} %"


def _side(value: float) -> str:
    return N_("above") if value >= 0 else N_("below")


def _grown(value: float) -> str:
    return N_("grown {pct}", pct=_pct(value)) if value > 0 else N_("shrunk {pct}", pct=_pct(value))


def _times(ratio: float) -> str:
    return N_("{ratio:.1f} times", ratio=ratio)


def _swept_level(f: Facts) -> str:
    mm, pct = f["swept_rise_mm"], f["swept_rise_pct"]
    if abs(pct) < 2 * f["swept_noise_pct"]:
        return N_("Swept stroke is within {mm} of the startup record", mm=_mm(mm))
    return N_(
        "Swept stroke is {mm} ({pct}) {side} the startup record", mm=_mm(mm), pct=_pct(pct), side=_side(mm)
    )


def _swept_scatter(f: Facts) -> str:
    ratio = f["swept_scatter"]
    if 0.8 <= ratio <= 1.15:
        return N_("Scatter of swept stroke is as at startup")
    return N_("Scatter of swept stroke is {times} that at startup", times=_times(ratio))


def _low_tail(f: Facts) -> str:
    low = max(f["low_per_100"], f["low_per_100_long"] if _known(f["low_per_100_long"]) else 0.0)
    if low < 0.5:
        return N_("No single shots fall out low")
    return N_("One shot in {max} falls out with a low cushion", max=max(1, round(100 / low)))


def _slow_drift(f: Facts) -> str:
    long, shots = f.get("long_rise_pct", math.nan), f.get("long_shots", math.nan)
    if _known(long) and shots > 1000 and abs(long) >= 2 * f["swept_slope_noise_pct"]:
        grown = _grown(long)
        way = N_(" bit by bit") if long > 0 and f["long_gradual"] > 0.6 else ""
        return N_(
            "Swept stroke has {grown}{way} over the {shots:,.0f} shots since the record",
            grown=grown,
            way=way,
            shots=shots,
        )
    slope = f["swept_slope_pct"]
    if abs(slope) < 1.5 * f["swept_slope_noise_pct"]:
        return N_("Swept stroke does not drift over the last 1,000 shots")
    way = (
        N_("bit by bit")
        if f["swept_gradual"] > 0.6
        else N_("in one step")
        if f["swept_gradual"] < 0.5
        else ""
    )
    moved = _grown(slope)
    return N_(
        "Swept stroke has {moved}{way} over the last 1,000 shots",
        moved=moved,
        way=" " + way if way and slope > 0 else "",
    )


def _not_shutting(f: Facts) -> str:
    share = f["bottom_share"]
    if _known(share) and share >= 0.1:
        return N_("The screw went to bottom on {share} % of the last 20 shots", share=round(100 * share))
    if f["swept_last_pct"] > 5:
        return N_("Swept stroke leapt by {pct} within five shots", pct=_pct(f["swept_last_pct"]))
    return N_("The cushion holds")


def _pressure_level(f: Facts) -> str:
    change, name = f["peak_change_pct"], N_("Peak pressure")
    if not _known(change):
        change, name = f["transfer_change_pct"], N_("Transfer pressure")
    if abs(change) < 0.4:
        return N_("{name} is as at startup", name=name)
    return N_(
        "{name} is {pct} {value} than at startup",
        name=name,
        pct=_pct(change),
        value=N_("higher") if change > 0 else N_("lower"),
    )


def _pressure_scatter(f: Facts) -> str:
    ratio = f["peak_scatter"]
    if ratio <= 1.15:
        return N_("Peak pressure repeats as at startup")
    return N_("Scatter of peak pressure is {times} that at startup", times=_times(ratio))


def _fill_time(f: Facts) -> str:
    change = f["fill_change_pct"]
    if abs(change) < 1:
        return N_("Fill time is as at startup")
    return N_(
        "Fill takes {pct} {value} than at startup",
        pct=_pct(change),
        value=N_("longer") if change > 0 else N_("less"),
    )


def _recovery(f: Facts) -> str:
    ratio, change = f["recovery_scatter"], f["recovery_change_pct"]
    if ratio > 1.25:
        return N_(
            "Scatter of recovery per mm is {times} that at startup: melt looks uneven", times=_times(ratio)
        )
    if abs(change) >= 2:
        return N_(
            "Recovery per mm is {pct} {value} than at startup",
            pct=_pct(change),
            value=N_("slower") if change > 0 else N_("faster"),
        )
    return N_("Recovery per mm is unchanged: melt looks even")


def _metering(f: Facts) -> str:
    ratio = f["shot_size_scatter"]
    if ratio <= 1.25:
        return N_("Shot size is dosed as evenly as at startup")
    return N_("Scatter of shot size is {times} that at startup", times=_times(ratio))


def _weight(f: Facts) -> str:
    change = f["weight_change_pct"]
    if abs(change) < 2 * f["weight_noise_pct"]:
        if f["swept_rise_pct"] > 1:
            return N_("Weight is unchanged though the screw travels further: the melt went elsewhere")
        return N_("Weight is as at startup")
    return N_(
        "The shot is {pct} {value} than at startup",
        pct=_pct(change),
        value=N_("heavier") if change > 0 else N_("lighter"),
    )


def _gate_seal_drift(f: Facts) -> str:
    rise = f["drift_rise_mm"]
    if f["drift_rise_sigma"] < 1:
        return N_("The screw stands still after the gate has sealed, as at startup")
    return N_("The screw drifts {mm} more than at startup after the gate has sealed", mm=_mm(rise))


def _known_change(f: Facts) -> str:
    moved = f["change_explains_pct"]
    since = f["shots_since_change"]
    if not _known(since):
        return N_("No known change since startup")
    if not _known(moved) or abs(moved) < 0.1:
        return N_("The change {since:.0f} shots ago moved nothing", since=since)
    return N_("Known changes explain {pct} of swept stroke", pct=_pct(moved))


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
        return N_("Surer than this, shots alone cannot be")
    return N_(
        "Cushion and shot size alone cannot tell a leak from flash, melt escaping outside or"
        " thinner melt; shot weight, injection pressure or a drift check would settle it"
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
        return N_("No inspections of this plant correct the score")
    return N_(
        "Inspections of this plant make a score like this {value}",
        value=N_("surer") if log_odds > 0 else N_("less sure"),
    )


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
        early = N_("not enough shots yet") if term == "slow_drift" else N_("not known")
        return f"{TERM_TEXT[term]}: {early}"
    if term == "own_inspections":
        return _own_inspections(log_odds)
    if term == "few_signals" and log_odds == 0 and not _two_signals(facts):
        return N_("The signals at hand are enough to tell a leak from what looks like one")
    return _SENTENCES[term](facts)
