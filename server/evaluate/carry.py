"""What evaluation carries from one shot to the next, and the codec that keeps it as bytes.

The codec is exact: floats travel as their 64 bits. A change of meaning takes a new CODEC number;
older checkpoints are then passed over and the history is evaluated again from its beginning.
"""

import dataclasses
import json
import math
import struct
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.contract import RULED_SIGNALS, SIGNALS
from server.evaluate.log_doubts import DoubtState
from server.evaluate.watch_memory import WatchState
from server.valve.evidence import EvidenceState
from server.valve.signals import Before

CODEC = 7

#: Earlier standardised values the run rules may need: the longest rule looks at 15 shots.
TAIL = 14

Arrays = dict[str, NDArray[Any]]


@dataclasses.dataclass(frozen=True)
class Episode:
    """A stretch in which a rule keeps signalling; `quiet` shots have passed since its last mark."""

    from_ms: int
    from_counter: int
    to_ms: int
    to_counter: int
    marks: int
    extreme: float
    quiet: int


@dataclasses.dataclass(frozen=True)
class Head:
    """The newest judgement; empty bytes while there is none."""

    score_ms: int = -1
    log_odds: float = 0.0
    prior_log_odds: float = 0.0
    terms: bytes = b""
    causes: bytes = b""
    facts: bytes = b""
    prior_parts: str = ""
    kept_log_odds: float = 1e9
    kept_at: int = -1


@dataclasses.dataclass(frozen=True)
class Carry:
    """Everything after shot `ordinal` that the next shots need."""

    ordinal: int = 0
    before: Before = dataclasses.field(default_factory=Before)
    setup_id: int = -1
    lot: str = ""
    box: str = ""
    baseline_no: int = 0
    watched: int = 0
    #: Valves and checks already passed, each with the ordinal of the first shot behind it.
    marks: dict[tuple[str, int], int] = dataclasses.field(default_factory=dict)
    bottom_run: int = 0
    bottoming_since_ms: int = -1
    head: Head = dataclasses.field(default_factory=Head)
    episodes: dict[tuple[str, str], Episode] = dataclasses.field(default_factory=dict)
    z_tail: NDArray[np.float64] = dataclasses.field(default_factory=lambda: np.empty((0, len(RULED_SIGNALS))))
    evidence: EvidenceState = dataclasses.field(default_factory=EvidenceState.fresh)
    watching: WatchState = dataclasses.field(default_factory=WatchState)
    doubts: DoubtState = dataclasses.field(default_factory=DoubtState)
    #: Signals of the shots in the ten-minute bucket not yet left.
    bucket_at: NDArray[np.int64] = dataclasses.field(default_factory=lambda: np.empty(0, dtype=np.int64))
    bucket_setup: NDArray[np.int64] = dataclasses.field(default_factory=lambda: np.empty(0, dtype=np.int64))
    bucket_values: NDArray[np.float64] = dataclasses.field(
        default_factory=lambda: np.empty((0, len(SIGNALS)))
    )

    def change(self, **values: Any) -> "Carry":
        return dataclasses.replace(self, **values)


def encode(carry: Carry) -> bytes:
    """Bytes of a carry: a JSON head (floats as hexadecimal), then raw arrays, lightly compressed."""
    arrays: Arrays = {
        "z_tail": carry.z_tail,
        "bucket_at": carry.bucket_at,
        "bucket_setup": carry.bucket_setup,
        "bucket_values": carry.bucket_values,
        **{"evidence." + name: value for name, value in carry.evidence.to_arrays().items()},
        **{"doubts." + name: value for name, value in carry.doubts.to_arrays().items()},
        **{"watching." + name: value for name, value in carry.watching.to_arrays().items()},
    }
    head = {
        "plain": {name: getattr(carry, name) for name in _PLAIN},
        "before": _texts(carry.before),
        "head": _texts(carry.head),
        "marks": [[*key, ordinal] for key, ordinal in carry.marks.items()],
        "episodes": [[*key, _texts(one)] for key, one in carry.episodes.items()],
        "arrays": {name: [value.dtype.str, list(value.shape)] for name, value in arrays.items()},
    }
    text = json.dumps(head, ensure_ascii=False).encode()
    body = b"".join(np.ascontiguousarray(value).tobytes() for value in arrays.values())
    return zlib.compress(struct.pack("<I", len(text)) + text + body, 1)


def decode(state: bytes) -> Carry:
    """The carry that `encode` made these bytes of."""
    raw = zlib.decompress(state)
    (size,) = struct.unpack_from("<I", raw)
    head = json.loads(raw[4 : 4 + size])
    arrays: Arrays = {}
    at = 4 + size
    for name, (kind, shape) in head["arrays"].items():
        count = math.prod(shape)
        arrays[name] = np.frombuffer(raw, dtype=kind, count=count, offset=at).reshape(shape).copy()
        at += arrays[name].nbytes
    evidence = {name[9:]: value for name, value in arrays.items() if name.startswith("evidence.")}
    doubts = {name[7:]: value for name, value in arrays.items() if name.startswith("doubts.")}
    watching = {name[9:]: value for name, value in arrays.items() if name.startswith("watching.")}
    return Carry(
        **head["plain"],
        before=Before(**_values(head["before"])),
        head=Head(**_values(head["head"])),
        marks={(kind, number): ordinal for kind, number, ordinal in head["marks"]},
        episodes={(a, b): Episode(**_values(one)) for a, b, one in head["episodes"]},
        z_tail=arrays["z_tail"],
        bucket_at=arrays["bucket_at"],
        bucket_setup=arrays["bucket_setup"],
        bucket_values=arrays["bucket_values"],
        evidence=EvidenceState.from_arrays(evidence),
        doubts=DoubtState.from_arrays(doubts),
        watching=WatchState.from_arrays(watching),
    )


_PLAIN = (
    "ordinal", "setup_id", "lot", "box", "baseline_no", "watched", "bottom_run", "bottoming_since_ms",
)  # fmt: skip


def _texts(one: "Before | Head | Episode") -> dict[str, Any]:
    out: dict[str, Any] = {}
    for field in dataclasses.fields(one):
        name, value = field.name, getattr(one, field.name)
        if isinstance(value, float):
            out[name] = {"f": value.hex()}
        elif isinstance(value, bytes):
            out[name] = {"b": value.hex()}
        else:
            out[name] = value
    return out


def _values(texts: dict[str, Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in texts.items():
        if isinstance(value, dict):
            out[name] = float.fromhex(value["f"]) if "f" in value else bytes.fromhex(value["b"])
        else:
            out[name] = value
    return out
