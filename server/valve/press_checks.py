"""Checks of a press at startup, so that its record can be trusted: each one number against its limit.

Limits are common practice, no source, and stand in every answer; a plant may hand in its own.
"""

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np
from scipy import stats

from server.errors import InvalidError
from server.language import N_, Measured
from server.valve.balance import stroke_volume

Pairs = Sequence[tuple[float, float]]


@dataclasses.dataclass(frozen=True)
class PressCheck:
    """value and limit in `unit`; interval 95 % where readings scatter; verdict: passed, failed, undecided."""

    check: str
    verdict: str
    value: float
    limit: float
    unit: str
    interval: tuple[float, float] | None
    text: str


@dataclasses.dataclass(frozen=True)
class Asked:
    """How a check is entered: `first` and `second` name its readings; second empty: single numbers."""

    check: str
    name: str
    why: str
    how: str
    first: str
    second: str
    least: int
    limit: float
    minutes: int
    judge: Callable[[Pairs, float], PressCheck]


def _verdict(value: float, limit: float, interval: tuple[float, float] | None = None) -> str:
    if interval is None:
        return "passed" if value <= limit else "failed"
    return "passed" if interval[1] <= limit else "failed" if interval[0] > limit else "undecided"


def transfer_repeatability(readings: Pairs, limit: float = 0.05) -> PressCheck:
    """Scatter of the reported transfer position, mm (single numbers), by the chi-squared interval of its sd.

    >>> found = transfer_repeatability([(x, 0.0) for x in (16.0, 16.01, 15.99, 16.0, 16.01, 16.0)])
    >>> found.verdict, round(found.value, 4)
    ('passed', 0.0075)
    """
    values = np.array([one for one, _ in readings])
    n, sd = len(values), float(values.std(ddof=1))
    interval = (
        sd * math.sqrt((n - 1) / float(stats.chi2.ppf(0.975, n - 1))),
        sd * math.sqrt((n - 1) / float(stats.chi2.ppf(0.025, n - 1))),
    )
    verdict = _verdict(sd, limit, interval)
    text = N_(
        "The transfer position scatters by {scatter} ({low} to {high}).",
        scatter=Measured("length", sd, 3),
        low=Measured("length", interval[0], 3),
        high=Measured("length", interval[1], 3),
    )
    return PressCheck("transfer", verdict, sd, limit, "mm", interval, text)


def speed_linearity(readings: Pairs, limit: float = 10.0) -> PressCheck:
    """Largest deviation of measured from set injection speed, % of the set one; (set, measured), mm/s.

    >>> speed_linearity([(20.0, 19.8), (60.0, 58.5), (100.0, 92.0)]).value
    8.0
    """
    apart = [(100.0 * abs(measured - asked) / asked, asked) for asked, measured in _above(readings, "set")]
    value, at = max(apart)
    text = N_(
        "Largest deviation {value:.1f} %, at a set speed of {at}.", value=value, at=Measured("speed", at, 0)
    )
    return PressCheck("speed", _verdict(value, limit), value, limit, "%", None, text)


def load_sensitivity(readings: Pairs, limit: float = 0.7) -> PressCheck:
    """How much slower the press fills under load, % per 10 MPa; (pressure in bar, fill time in s).

    100 (t_loaded - t_air) / t_air / (p_loaded - p_air), between the lowest and the highest pressure.

    >>> round(load_sensitivity([(50.0, 1.0), (1050.0, 1.05)]).value, 2)
    0.5
    """
    ordered = sorted(_above(readings, N_("fill time"), of=1))
    (low, air), (high, loaded) = ordered[0], ordered[-1]
    if high - low < 100.0:
        raise InvalidError(
            N_(
                "load: the pressures lie {high:g} bar apart; at least 100, such as in air and in the mold",
                high=high - low,
            ),
            field="readings",
        )
    value = abs(100.0 * (loaded - air) / air / (high - low) * 100.0)
    text = N_("Fill takes {value:.2f} % longer for every 10 MPa more.", value=value)
    return PressCheck("load", _verdict(value, limit), value, limit, "% per 10 MPa", None, text)


def hold_response(readings: Pairs, limit: float = 3.0) -> PressCheck:
    """How well the set hold pressure is reached, % of the set one; (set, reached), bar.

    >>> round(hold_response([(400.0, 396.0), (600.0, 603.0)]).value, 2)
    1.0
    """
    value = max(100.0 * abs(reached - asked) / asked for asked, reached in _above(readings, "set"))
    text = N_("The hold pressure differs from its setting by up to {value:.1f} %.", value=value)
    return PressCheck("hold", _verdict(value, limit), value, limit, "%", None, text)


def position_reading(readings: Pairs, limit: float = 0.2) -> PressCheck:
    """Largest difference between gauge and display, mm, after the common offset is taken off.

    >>> round(position_reading([(0.0, 5.0), (50.0, 55.05), (100.0, 105.1)]).value, 3)
    0.05
    """
    apart = np.array([display - gauge for gauge, display in readings])
    value = float(np.abs(apart - apart.mean()).max())
    text = N_(
        "Beyond an offset of {offset}, gauge and display differ by up to {apart}.",
        offset=Measured("length", float(apart.mean()), 2),
        apart=Measured("length", value, 2),
    )
    return PressCheck("position_reading", _verdict(value, limit), value, limit, "mm", None, text)


def pressure_reading(readings: Pairs, limit: float = 3.0) -> PressCheck:
    """Largest difference between gauge and display, % of the gauge; (gauge, display), bar.

    >>> round(pressure_reading([(100.0, 101.0), (500.0, 490.0)]).value, 2)
    2.0
    """
    value = max(100.0 * abs(display - gauge) / gauge for gauge, display in _above(readings, "gauge"))
    text = N_("Gauge and display differ by up to {value:.1f} %.", value=value)
    return PressCheck("pressure_reading", _verdict(value, limit), value, limit, "%", None, text)


def recovery_margin(readings: Pairs, limit: float = 1.0) -> PressCheck:
    """Time between the end of recovery and the opening of the mold, s: at least the limit; single numbers.

    >>> recovery_margin([(1.4, 0.0), (1.6, 0.0)]).verdict, recovery_margin([(0.3, 0.0)]).verdict
    ('passed', 'failed')
    """
    value = min(one for one, _ in readings)
    text = N_("Recovery ends at least {value:.1f} s before the mold opens (1 to 2 s is right).", value=value)
    if value > 2.0:
        text += N_(" The melt waits longer than it has to.")
    verdict = "passed" if value >= limit else "failed"
    return PressCheck("recovery", verdict, value, limit, "s", None, text)


def shot_share(readings: Pairs, limit: float = 75.0) -> PressCheck:
    """Shot as a share of what the barrel can meter, %: between 25 and the limit; (shot, largest), mm.

    >>> shot_share([(80.0, 200.0)]).value, shot_share([(20.0, 200.0)]).verdict
    (40.0, 'failed')
    """
    shot, most = _above(readings, N_("largest shot"), of=1)[-1]
    value = 100.0 * shot / most
    verdict = "passed" if 25.0 <= value <= limit else "failed"
    text = N_(
        "The shot is {value:.0f} % of what the barrel can meter (25 to {limit:g} %).",
        value=value,
        limit=limit,
    )
    return PressCheck("shot_share", verdict, value, limit, "%", None, text)


def residence_time(readings: Pairs, limit: float = 10.0) -> PressCheck:
    """Time the melt stays in the barrel, min; (cycle in s, barrel content in shots).

    The resin maker's limit decides; 10 min only where none is told.

    >>> residence_time([(30.0, 6.0)]).value
    3.0
    """
    cycle_s, shots = _above(readings, "content", of=1)[-1]
    value = cycle_s * shots / 60.0
    text = N_(
        "The melt stays {value:.1f} min in the barrel (at most {limit:g} min).", value=value, limit=limit
    )
    return PressCheck("residence", _verdict(value, limit), value, limit, "min", None, text)


def _above(readings: Pairs, name: str, *, of: int = 0) -> Pairs:
    for pair in readings:
        if not pair[of] > 0.0:
            raise InvalidError(
                N_("{name} is {pair:g}; it has to be above 0", name=name, pair=pair[of]), field="readings"
            )
    return readings


@dataclasses.dataclass(frozen=True)
class VolumeBalance:
    """Share of the swept volume that never reached the mold, %, with its interval (95 %)."""

    swept_cm3: float
    part_cm3: float
    lost_pct: float
    interval: tuple[float, float]
    text: str


def volume_balance(
    pairs: Pairs, *, screw_diameter_mm: float, melt_density_g_cm3: float, density_uncertainty_pct: float = 2.0
) -> VolumeBalance:
    """Where did the swept volume go? (swept stroke in mm, shot weight in g), 3 shots or more, no baseline.

    lost = 1 - (weight / density) / (pi/4 D^2 stroke). What is lost is backflow while closing, leakage and
    compression together. The weight includes the runner if it is weighed; the density is that of the melt
    at its pressure. The interval combines Student's for the scatter of the shots with the density's
    uncertainty (k = 2) by their squares. Source: mass balance (derived).

    >>> found = volume_balance([(80.0, 110.0), (80.1, 110.2), (79.9, 109.9)], screw_diameter_mm=50.0,
    ...                        melt_density_g_cm3=0.75)
    >>> round(found.lost_pct, 1), found.interval[0] < found.lost_pct < found.interval[1]
    (6.6, True)
    """
    if len(pairs) < 3:
        raise InvalidError(N_("{pairs} shots: at least 3 needed", pairs=len(pairs)), field="readings")
    if not melt_density_g_cm3 > 0.0:
        raise InvalidError(
            N_(
                "melt_density_g_cm3 must be above 0, not {melt_density_g_cm3}",
                melt_density_g_cm3=melt_density_g_cm3,
            ),
            field="density",
        )
    strokes = [stroke for stroke, _ in _above(pairs, "swept")]
    swept = np.array([stroke_volume(one, screw_diameter_mm=screw_diameter_mm) for one in strokes])
    part = np.array([weight for _, weight in _above(pairs, "weight", of=1)]) / melt_density_g_cm3
    share = part / swept
    n, reached = len(share), float(share.mean())
    scatter = float(stats.t.ppf(0.975, n - 1)) * float(share.std(ddof=1)) / math.sqrt(n)
    half = 100.0 * math.hypot(scatter, reached * density_uncertainty_pct / 100.0)
    lost = 100.0 * (1.0 - reached)
    interval = (lost - half, lost + half)
    text = N_(
        "{lost:.1f} % of the swept volume never reached the mold ({interval:.1f} to"
        " {interval_2:.1f}): backflow while closing, leakage and compression together.",
        lost=lost,
        interval=interval[0],
        interval_2=interval[1],
    )
    return VolumeBalance(float(swept.mean()), float(part.mean()), lost, interval, text)


#: The checks of a press in the order in which they are done.
PRESS_CHECKS: Final[Mapping[str, Asked]] = {
    one.check: one
    for one in (
        Asked("position_reading", N_("Position reading"),
              N_("Everything rests on the position: is it read truly?"),
              N_("Hold a gauge against the screw's travel at three or more positions."), N_("gauge, mm"),
              N_("display, mm"), 3, 0.2, 3, position_reading),
        Asked("pressure_reading", N_("Pressure reading"), N_("Is the pressure read truly?"),
              N_("Compare with a calibrated gauge at two or more pressures."), N_("gauge, bar"),
              N_("display, bar"), 2, 3.0, 3, pressure_reading),
        Asked("transfer", N_("Transfer position repeats"), N_("Is fill ended at the same place each shot?"),
              N_("Read the reported transfer position of ten shots."), N_("transfer position, mm"), "", 5,
              0.05, 3, transfer_repeatability),
        Asked("speed", N_("Injection speed follows its setting"),
              N_("Does twice the setting give twice the speed?"),
              N_("Short shots at three or more settings; stroke of fill divided by fill time."),
              N_("set, mm/s"), N_("measured, mm/s"), 3, 10.0, 4, speed_linearity),
        Asked("load", N_("Speed holds under load"), N_("Does melt pressure slow the press down?"),
              N_("Fill time in air (purged) and in the mold, with the pressure of each."),
              N_("pressure, bar"), N_("fill time, s"), 2, 0.7, 3, load_sensitivity),
        Asked("hold", N_("Hold pressure is reached"), N_("Does hold do what is set?"),
              N_("Two or more hold settings and the pressure that came."), N_("set, bar"),
              N_("reached, bar"), 2, 3.0, 2, hold_response),
        Asked("recovery", N_("Recovery ends in time"), N_("Is the melt ready before the mold opens?"),
              N_("Seconds from the end of recovery until the mold opens."), "seconds", "", 1, 1.0, 1,
              recovery_margin),
        Asked("shot_share", N_("Shot suits the barrel"),
              N_("Is the shot neither tiny nor all of the barrel?"),
              N_("Shot size of this mold, and the largest the press can meter."), N_("shot, mm"),
              N_("largest, mm"), 1, 75.0, 1, shot_share),
        Asked("residence", N_("Residence time"), N_("Does the melt stay short enough?"),
              N_("Cycle time and how many shots the barrel holds; the resin maker's longest time as limit."),
              N_("cycle, s"), N_("barrel content, shots"), 1, 10.0, 1, residence_time),
    )
}  # fmt: skip


def judge_check(check: str, *, readings: Pairs, limit: float | None = None) -> PressCheck:
    """One check of PRESS_CHECKS over its readings; an unknown one or too few readings raise InvalidError.

    >>> judge_check("residence", readings=[(30.0, 6.0)]).verdict
    'passed'
    """
    asked = PRESS_CHECKS.get(check)
    if asked is None:
        known = ", ".join(PRESS_CHECKS)
        raise InvalidError(
            N_("check is {check!r}; it has to be one of {known}", check=check, known=known), field="check"
        )
    if len(readings) < asked.least:
        raise InvalidError(
            N_(
                "{name}: {readings} readings given, at least {least} needed",
                name=asked.name,
                readings=len(readings),
                least=asked.least,
            ),
            field="readings",
        )
    if not all(math.isfinite(one) and math.isfinite(other) for one, other in readings):
        raise InvalidError(N_("readings must be finite numbers"), field="readings")
    return asked.judge(readings, asked.limit if limit is None else limit)
