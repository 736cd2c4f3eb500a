"""What the charts within the alarm budget remember of a press, and its arrays for the codec."""

import dataclasses
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from server.contract import WATCHED_LEVELS, WATCHED_SCATTERS
from server.maths.watch_charts import Bank

Floats = NDArray[np.float64]

LEVELS = len(WATCHED_LEVELS)
CHARTS = LEVELS + len(WATCHED_SCATTERS)


def _no_shots() -> Floats:
    return np.empty((0, LEVELS))


@dataclasses.dataclass(frozen=True)
class Memory:
    """What was learnt under one record. waiting: shots [k, 6] of a group not yet complete.

    anchor: where each level was last learnt, sigma. settles: levels whose next group only settles.
    """

    bank: Bank = dataclasses.field(default_factory=lambda: Bank.empty(CHARTS))
    anchor: Floats = dataclasses.field(default_factory=lambda: np.zeros(LEVELS))
    settles: NDArray[np.bool_] = dataclasses.field(default_factory=lambda: np.zeros(LEVELS, dtype=bool))
    onset_ms: NDArray[np.int64] = dataclasses.field(
        default_factory=lambda: np.full(CHARTS, -1, dtype=np.int64)
    )
    waiting: Floats = dataclasses.field(default_factory=_no_shots)
    waiting_since_ms: int = -1
    groups: int = 0
    began_ms: int = -1

    def after_change(self, which: NDArray[np.bool_]) -> "Memory":
        """Levels `which` [6] have known reason to move: they are learnt anew after one group."""
        charts = np.concatenate((which, np.zeros(CHARTS - LEVELS, dtype=bool)))
        return dataclasses.replace(
            self,
            bank=self.bank.with_new_level(charts),
            settles=self.settles | which,
            waiting=_no_shots(),
            waiting_since_ms=-1,
        )

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        return {
            "bank": self.bank.as_array(),
            "anchor": self.anchor,
            "settles": self.settles.astype(np.int64),
            "onset_ms": self.onset_ms,
            "waiting": self.waiting,
            "counts": np.array([self.waiting_since_ms, self.groups, self.began_ms], dtype=np.int64),
        }

    @classmethod
    def from_arrays(cls, arrays: dict[str, NDArray[Any]]) -> "Memory":
        since, groups, began = (int(one) for one in arrays["counts"])
        return cls(
            bank=Bank.from_array(arrays["bank"]),
            anchor=arrays["anchor"],
            settles=arrays["settles"] > 0,
            onset_ms=arrays["onset_ms"],
            waiting=arrays["waiting"],
            waiting_since_ms=since,
            groups=groups,
            began_ms=began,
        )


@dataclasses.dataclass(frozen=True)
class WatchState:
    """The memory of the record in force (0: none), and of the last others."""

    #: Records remembered beside the one in force: a press changes between a handful of molds.
    MOST_MEMORIES: ClassVar[int] = 8

    baseline_no: int = 0
    memory: Memory = dataclasses.field(default_factory=Memory)
    memories: dict[int, Memory] = dataclasses.field(default_factory=dict)

    def to_arrays(self) -> dict[str, NDArray[Any]]:
        numbers = np.array([self.baseline_no, *self.memories], dtype=np.int64)
        arrays: dict[str, NDArray[Any]] = {"numbers": numbers}
        for place, memory in enumerate((self.memory, *self.memories.values())):
            arrays |= {f"{place}.{name}": value for name, value in memory.to_arrays().items()}
        return arrays

    @classmethod
    def from_arrays(cls, arrays: dict[str, NDArray[Any]]) -> "WatchState":
        numbers = arrays["numbers"].tolist()
        memories = []
        for place in range(len(numbers)):
            lead = f"{place}."
            memories.append(
                Memory.from_arrays(
                    {name[len(lead) :]: value for name, value in arrays.items() if name.startswith(lead)}
                )
            )
        return cls(numbers[0], memories[0], dict(zip(numbers[1:], memories[1:], strict=True)))
