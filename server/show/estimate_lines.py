"""How much leaks and when the cushion runs out, as lines of a press's page."""

from server.derived.estimates import Estimates, RunOut
from server.language import _
from server.show.pages import EstimateLines
from server.show.plant_words import Plant
from server.valve.estimates import Interval, LeakEstimate
from server.words.numbers import number, whole
from server.words.units import Units


def estimate_lines(estimates: Estimates, plant: Plant) -> EstimateLines:
    """Sentences with intervals; nothing at all where neither estimate can be made."""
    lines: list[tuple[str, str]] = []
    rests_on: tuple[str, ...] = ()
    cannot: list[str] = []
    if isinstance(estimates.leak, LeakEstimate):
        lines += _leak_lines(estimates.leak, plant.units)
        rests_on = estimates.leak.assumptions
        cannot += [
            _("Without the {one} no more can be said of it.", one=one) for one in estimates.leak.missing
        ]
    if isinstance(estimates.run_out, RunOut):
        lines.append(("estimate-run-out", _run_out_line(estimates.run_out, plant)))
    elif lines:
        cannot.append(
            _("When the cushion runs out cannot be said: {reason}.", reason=estimates.run_out.reason)
        )
    return EstimateLines(tuple(lines), rests_on, tuple(cannot))


def _between(interval: Interval | None, places: int) -> str:
    if interval is None:
        return ""
    low, high = (f"{one:.{places}f}" for one in interval)
    return _(" ({low} to {high})", low=low, high=high)


def _leak_lines(leak: LeakEstimate, units: Units) -> list[tuple[str, str]]:
    length, volume = units.written("length"), units.written("volume")
    places = 2 if length == "mm" else 4

    def shown(quantity: str, interval: Interval | None) -> Interval | None:
        if interval is None:
            return None
        low, high = (units.shown_difference(quantity, one) for one in interval)
        return (low, high)

    lost = f"{units.shown_difference('length', leak.lost_mm):.{places}f} {length}"
    text = _(
        "Swept stroke beyond startup: {lost}{between}",
        lost=lost,
        between=_between(shown("length", leak.lost_mm_interval), places),
    )
    if leak.lost_cm3 is not None:
        cm3 = number(units.shown_difference("volume", leak.lost_cm3), 2)
        text += _(", {cm3} {volume} a shot", cm3=cm3, volume=volume)
    lines = [("estimate-lost", f"{text}.")]
    if leak.flow_cm3_s is not None:
        flow = units.shown_difference("volume", leak.flow_cm3_s)
        between = _between(shown("volume", leak.flow_cm3_s_interval), 2 if volume == "cm³" else 3)
        text = _(
            "Leak flow under pressure: {flow} {volume}/s{between}.",
            flow=number(flow, 2),
            volume=volume,
            between=between,
        )
        lines.append(("estimate-flow", text))
    if leak.gap_mm is not None:
        gap = f"{units.shown_difference('length', leak.gap_mm):.{places}f} {length}"
        between = _between(shown("length", leak.gap_mm_interval), places)
        text = _("An even gap of {gap}{between} would do it.", gap=gap, between=between)
        lines.append(("estimate-gap", text))
    return lines


def _run_out_line(run_out: RunOut, plant: Plant) -> str:
    left = plant.units.text("length", run_out.cushion_mm, 1)
    pace = plant.units.text("length", run_out.per_1000_mm, 2)
    late = "open" if run_out.to_ms is None else plant.day(run_out.to_ms)
    between = _("({since} to {late})", since=plant.day(run_out.from_ms), late=late)
    return _(
        "If it goes on like this ({pace} in 1,000 shots), the cushion of {left} is gone about"
        " {at} {between}, in {shots} shots.",
        pace=pace,
        left=left,
        at=plant.day(run_out.at_ms),
        between=between,
        shots=whole(run_out.shots),
    )
