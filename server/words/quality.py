"""What a press's record lacks, in words: what was seen with its figure, and the way out."""

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any, Final

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
            "incomplete", "counter",
            f"{missing:,} of {sum(day.expected for day in found.days):,} shots are missing, by the"
            " press's own counter",
            "Look at the collector's log and spool for these times; a press that keeps event history, or its"
            " report file, can still bring them (import the file: what is stored is known again)",
        )  # fmt: skip
    leaps = sum(day.leaps for day in found.days)
    if leaps:
        yield Concern(
            "counter_leaps", "counter",
            f"The counter leapt {'once' if leaps == 1 else f'{leaps} times'}"
            " by more than the press could have made",
            "Somebody set the counter, or two counters are mixed: choose the press's own cycle"
            " counter as the source",
        )  # fmt: skip


def clock_concerns(found: ClockDrift | Undetermined) -> Iterator[Concern]:
    """A clock that is ahead, behind or drifts."""
    if isinstance(found, Undetermined):
        return
    seconds = found.offset_ms / 1000.0
    if found.is_ahead:
        yield Concern(
            "clock_ahead", "at", f"The press's clock is {-seconds:.1f} s ahead of the server's",
            "Set the press's clock, or let it follow a time server (NTP); shots more than 10 minutes"
            " ahead are"
            " kept apart",
        )  # fmt: skip
    if found.is_behind:
        yield Concern(
            "clock_behind", "at", f"Even the quickest shot arrives {seconds:.0f} s after its time",
            "The press's clock is behind, or the way to the server is slow: compare its clock first",
        )  # fmt: skip
    if found.is_drifting:
        yield Concern(
            "clock_drifts", "at", f"The press's clock moves by {found.per_day_ms / 1000.0:+.1f} s a day",
            "Let it follow a time server (NTP): events and shots no longer line up otherwise",
        )  # fmt: skip


#: What is set rather than measured on most presses may well stand still.
_SET: Final = frozenset(
    {"hold_time_s", "hold_pressure_bar", "back_pressure_bar", "screw_speed_rpm", "injection_speed_mm_s",
     "decompression_mm", "transfer_position_mm", "cycle_time_s"}
)  # fmt: skip


def sensor_concern(field: str, found: SensorState) -> Concern | None:
    """A signal that stands still or hides its scatter; None where it is alive, or set and no sensor."""
    make = None if field in _SET else _SENSORS.get(found.verdict)
    return None if make is None else make(field, found)


_SENSORS: Final[dict[str, Callable[[str, SensorState], Concern]]] = {
    "stuck": lambda field, found: Concern(
        "stuck", field,
        f"{signal_name(field)} has stood still for {found.run:,} shots, though it used to move",
        "Check the sensor, its cable and the mapping of the source; until then read nothing into this signal",
    ),
    "constant": lambda field, found: Concern(
        "constant", field, f"{signal_name(field)} has never moved in {found.readings:,} shots",
        "The press may not measure it and send a set-point or 0: leave it out of the source's mapping",
    ),
    "coarse": lambda field, found: Concern(
        "coarse", field,
        f"The display step of {signal_name(field).lower()} ({found.step or 0.0:g}) hides its scatter",
        "Let the press or the log write more decimals; limits allow for the rounding until then",
    ),
}  # fmt: skip


def suspicion_concern(found: Suspicion) -> Concern:
    """A column that looks like another unit, or holds wrapped negatives."""
    if found.kind == "unit":
        return Concern(
            "unit", found.field,
            f"{signal_name(found.field)} lies at {found.value:.3g}, unusual for that unit: the source"
            f" may mean {found.maybe}",
            "Correct the unit in the source's mapping; stored shots stay as they came: undo their import and"
            " bring them again",
        )  # fmt: skip
    return Concern(
        "wrapped", found.field,
        f"{signal_name(found.field)} reads near {found.value:.6g} in {found.share:.2%} of the shots: a small"
        f" negative ({found.maybe}) kept as an unsigned number",
        "Read the press's value as signed, at the source or in the import",
    )  # fmt: skip


def two_presses_concern(found: TwoPresses) -> Concern:
    return Concern(
        "two_counters", "counter",
        f"{found.rows:,} of the last {found.of:,} shots follow another counter: a second press seems to send"
        " under this name",
        "Give each source its own press: look at the sources page and at device keys that are for"
        " every press",
    )  # fmt: skip


def injected_concern(found: ConstantSum | Undetermined) -> Concern | None:
    """The shot size is what was injected; None where it is not, or cannot be told."""
    if isinstance(found, Undetermined) or not found.injected:
        return None
    return Concern(
        "injected", "shot_size_mm",
        f"The shot size mirrors the cushion (correlation {found.correlation:+.2f}): it is what was"
        " injected, not"
        " what was metered",
        "Choose the metered stroke or volume as the source; with the injected one the swept stroke"
        " says nothing"
        " the cushion does not",
    )  # fmt: skip


def apart_concern(rows: list[tuple[str, int]] | tuple[tuple[str, int], ...]) -> Concern | None:
    """Rows of the press that were not taken."""
    if not rows:
        return None
    named = ", ".join(f"{count:,} {code.replace('_', ' ')}" for code, count in rows[:4])
    return Concern(
        "apart", "", f"Rows of this press were kept apart: {named}",
        "The import page names the reason of each; mend the source, then bring the rows again",
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
