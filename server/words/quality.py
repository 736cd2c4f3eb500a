"""What a press's record lacks, in words: what was seen with its figure, and the way out."""

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any, Final

from server.language import _
from server.maths.results import Undetermined
from server.valve.data_quality import ClockDrift, Completeness, SensorState
from server.valve.log_checks import ConstantSum, Suspicion, TwoPresses
from server.words.catalogue import signal_name

#: Share of the expected shots below which a record is called incomplete (common practice, no source).
COMPLETE_FROM: Final = 0.98


@dataclasses.dataclass(frozen=True)
class Concern:
    """Something about the record that somebody should see to."""

    code: str
    field: str
    text: str
    way_out: str


def completeness_concerns(found: Completeness) -> Iterator[Concern]:
    """Missing shots and counters that leap."""
    if found.share < COMPLETE_FROM:
        missing = sum(day.expected - day.stored for day in found.days)
        yield Concern(
            "incomplete",
            "counter",
            _(
                "{missing:,} of {sum:,} shots are missing, by the press's own counter",
                missing=missing,
                sum=sum(day.expected for day in found.days),
            ),
            _(
                "Look at the collector's log and spool for these times; a press that keeps event"
                " history, or its report file, can still bring them (import the file: what is stored"
                " is known again)"
            ),
        )
    leaps = sum(day.leaps for day in found.days)
    if leaps:
        yield Concern(
            "counter_leaps",
            "counter",
            _(
                "The counter leapt {value} by more than the press could have made",
                value=_("once") if leaps == 1 else _("{leaps} times", leaps=leaps),
            ),
            _(
                "Somebody set the counter, or two counters are mixed: choose the press's own cycle"
                " counter as the source"
            ),
        )


def clock_concerns(found: ClockDrift | Undetermined) -> Iterator[Concern]:
    """A clock that is ahead, behind or drifts."""
    if isinstance(found, Undetermined):
        return
    seconds = found.offset_ms / 1000.0
    if found.is_ahead:
        yield Concern(
            "clock_ahead",
            "at",
            _("The press's clock is {seconds:.1f} s ahead of the server's", seconds=-seconds),
            _(
                "Set the press's clock, or let it follow a time server (NTP); shots more than 10"
                " minutes ahead are kept apart"
            ),
        )
    if found.is_behind:
        yield Concern(
            "clock_behind",
            "at",
            _("Even the quickest shot arrives {seconds:.0f} s after its time", seconds=seconds),
            _("The press's clock is behind, or the way to the server is slow: compare its clock first"),
        )
    if found.is_drifting:
        yield Concern(
            "clock_drifts",
            "at",
            _("The press's clock moves by {per_day:+.1f} s a day", per_day=found.per_day_ms / 1000.0),
            _("Let it follow a time server (NTP): events and shots no longer line up otherwise"),
        )


#: What is set rather than measured on most presses may well stand still.
_SET: Final = frozenset(
    {
        "hold_time_s",
        "hold_pressure_bar",
        "back_pressure_bar",
        "screw_speed_rpm",
        "injection_speed_mm_s",
        "decompression_mm",
        "transfer_position_mm",
        "cycle_time_s",
    }
)


def sensor_concern(field: str, found: SensorState) -> Concern | None:
    """A signal that stands still or hides its scatter; None where it is alive, or set and no sensor."""
    make = None if field in _SET else _SENSORS.get(found.verdict)
    return None if make is None else make(field, found)


_SENSORS: Final[dict[str, Callable[[str, SensorState], Concern]]] = {
    "stuck": lambda field, found: Concern(
        "stuck",
        field,
        _(
            "{field} has stood still for {run:,} shots, though it used to move",
            field=signal_name(field),
            run=found.run,
        ),
        _(
            "Check the sensor, its cable and the mapping of the source; until then read nothing"
            " into this signal"
        ),
    ),
    "constant": lambda field, found: Concern(
        "constant",
        field,
        _("{field} has never moved in {readings:,} shots", field=signal_name(field), readings=found.readings),
        _("The press may not measure it and send a set-point or 0: leave it out of the source's mapping"),
    ),
    "coarse": lambda field, found: Concern(
        "coarse",
        field,
        _(
            "The display step of {field} ({step:g}) hides its scatter",
            field=signal_name(field).lower(),
            step=found.step or 0.0,
        ),
        _("Let the press or the log write more decimals; limits allow for the rounding until then"),
    ),
}


def suspicion_concern(found: Suspicion) -> Concern:
    """A column that looks like another unit, or holds wrapped negatives."""
    if found.kind == "unit":
        return Concern(
            "unit",
            found.field,
            _(
                "{field} lies at {value:.3g}, unusual for that unit: the source may mean {maybe}",
                field=signal_name(found.field),
                value=found.value,
                maybe=found.maybe,
            ),
            _(
                "Correct the unit in the source's mapping; stored shots stay as they came: undo their"
                " import and bring them again"
            ),
        )
    return Concern(
        "wrapped",
        found.field,
        _(
            "{field} reads near {value:.6g} in {share:.2%} of the shots: a small negative ({maybe})"
            " kept as an unsigned number",
            field=signal_name(found.field),
            value=found.value,
            share=found.share,
            maybe=found.maybe,
        ),
        _("Read the press's value as signed, at the source or in the import"),
    )


def two_presses_concern(found: TwoPresses) -> Concern:
    return Concern(
        "two_counters",
        "counter",
        _(
            "{rows:,} of the last {of:,} shots follow another counter: a second press seems to send"
            " under this name",
            rows=found.rows,
            of=found.of,
        ),
        _(
            "Give each source its own press: look at the sources page and at device keys that are"
            " for every press"
        ),
    )


def injected_concern(found: ConstantSum | Undetermined) -> Concern | None:
    """The shot size is what was injected; None where it is not, or cannot be told."""
    if isinstance(found, Undetermined) or not found.injected:
        return None
    return Concern(
        "injected",
        "shot_size_mm",
        _(
            "The shot size mirrors the cushion (correlation {correlation:+.2f}): it is what was"
            " injected, not what was metered",
            correlation=found.correlation,
        ),
        _(
            "Choose the metered stroke or volume as the source; with the injected one the swept"
            " stroke says nothing the cushion does not"
        ),
    )


def apart_concern(rows: list[tuple[str, int]] | tuple[tuple[str, int], ...]) -> Concern | None:
    """Rows of the press that were not taken."""
    if not rows:
        return None
    named = ", ".join(f"{count:,} {code.replace('_', ' ')}" for code, count in rows[:4])
    return Concern(
        "apart", "", _("Rows of this press were kept apart: {named}", named=named),
        _("The import page names the reason of each; mend the source, then bring the rows again"),
    )  # fmt: skip


def all_concerns(quality: Any) -> list[Concern]:
    """Every concern of a `derived.record_quality.RecordQuality`, what matters most first."""
    found = [*completeness_concerns(quality.completeness), *clock_concerns(quality.clock)]
    if quality.two_presses is not None:
        found.insert(0, two_presses_concern(quality.two_presses))
    injected = injected_concern(quality.constant_sum)
    found += [injected] if injected is not None else []
    found += [suspicion_concern(one) for one in quality.suspicions]
    sensors = (sensor_concern(field, one) for field, one in quality.sensors.items())
    found += [one for one in sensors if one is not None]
    apart = apart_concern(quality.apart)
    return [*found, apart] if apart is not None else found
