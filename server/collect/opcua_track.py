"""How far a press was heard: lost cycles from its counter, and numbers that are always zero. Pure."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

from server.collect.opcua_cycle import ReadCycle

#: A counter that jumps further was set, not counted (common practice, no source).
JUMP_MAX: Final = 100_000
#: Shots after which a number that never was anything but 0 is told (common practice, no source).
ZEROS: Final = 20
_MAY_BE_ZERO: Final = (
    "cushion_cm3", "cushion_mm", "hold_pressure_bar", "back_pressure_bar", "start_position_mm",
    "transfer_position_mm",
)  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Last:
    """The newest cycle heard of a press; as text it is kept in the spool with the shots."""

    counted_by: str
    counter: int
    at_ms: int

    def text(self) -> str:
        return f"{self.counted_by} {self.counter} {self.at_ms}"

    @classmethod
    def of_text(cls, text: str | None) -> "Last | None":
        """
        >>> Last.of_text("JobCycleCounter 12 1700000000000").counter
        12
        >>> Last.of_text("garbled") is None
        True
        """
        parts = (text or "").split()
        if len(parts) != 3 or not parts[1].isdecimal() or not parts[2].isdecimal():
            return None
        return cls(parts[0], int(parts[1]), int(parts[2]))


def lost_between(last: Last | None, cycle: ReadCycle) -> int:
    """Cycles the counter passed over. 0 at the first cycle, after a reset, and when the counter was set.

    >>> cycle = ReadCycle({}, 15, "JobCycleCounter", 2000, {})
    >>> lost_between(Last("JobCycleCounter", 12, 1000), cycle), lost_between(None, cycle)
    (2, 0)
    """
    if last is None or last.counted_by != cycle.counted_by:
        return 0
    passed = cycle.counter - last.counter
    return passed - 1 if 1 < passed <= JUMP_MAX else 0


def fills(last: Last, cycle: ReadCycle, until: ReadCycle) -> bool:
    """Whether a cycle out of history lies between the newest heard before and the one after the gap."""
    return (
        cycle.counted_by == last.counted_by
        and last.at_ms < cycle.at_ms < until.at_ms
        and last.counter < cycle.counter < until.counter
    )


class ZeroWatch:
    """Numbers that may be 0 in a cycle, but are suspicious when they always are."""

    def __init__(self) -> None:
        self._zeros: dict[str, int] = {}
        self._seen_other: set[str] = set()

    def look(self, shot: Mapping[str, Any]) -> dict[str, str]:
        """Field → suspicion, after one more shot."""
        for field in _MAY_BE_ZERO:
            if field in self._seen_other or field not in shot:
                continue
            if shot[field] == 0.0:
                self._zeros[field] = self._zeros.get(field, 0) + 1
            else:
                self._seen_other.add(field)
                self._zeros.pop(field, None)
        return {
            field: f"reads 0 in all of {count} shots: does the press measure it?"
            for field, count in self._zeros.items()
            if count >= ZEROS
        }
