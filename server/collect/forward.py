"""From the spool to where shots go: batches in order, patience, and no line lost on the way.

`Forwarder` decides; how a batch travels is a `Deliver` handed in: over HTTP (`sender.Sender`) or
straight into the local database (the command line). A delivery returns `Delivered` once the shots
are durable, or raises `TryLaterError` (network, busy, wrong key: the lines wait) or
`RefusedBatchError` (something in this batch: it is halved until the line is found and kept apart).
Sending twice is harmless: the server knows a shot by press, counter and time.
"""

import collections
import dataclasses
import logging
import random
import threading
from collections.abc import Callable, Sequence
from typing import Any, Final

from server.clock import now_ms
from server.collect.spool import Spool, Spooled
from server.errors import RingtellError

log = logging.getLogger("ringtell.collect")

BATCH_LINES: Final = 2_000
BATCH_CHARACTERS: Final = 4_000_000
FIRST_WAIT_S: Final = 0.5
LONGEST_WAIT_S: Final = 60.0
_IDLE_S: Final = 1.0


class TryLaterError(RingtellError):
    """Not this time; the lines wait in the spool. `after_s`: not before, where the server said so."""

    code, status, title = "try_later", 503, "Not delivered yet"

    def __init__(self, message: str, *, after_s: float | None = None) -> None:
        super().__init__(message)
        self.after_s = after_s


class RefusedBatchError(RingtellError):
    """Something in this batch cannot be taken. `too_large`: it is only its size; `about_press`: the key
    may not send for one of its presses."""

    code, status, title = "refused", 422, "Not taken"

    def __init__(
        self, message: str, *, reason_code: str, too_large: bool = False, about_press: bool = False
    ) -> None:
        super().__init__(message)
        self.reason_code = reason_code
        self.too_large = too_large
        self.about_press = about_press


@dataclasses.dataclass(frozen=True)
class Delivered:
    """What became of a batch. `rejected`: kept apart by the server, each with code and message."""

    received: int
    stored: int
    duplicate: int
    conflict: int
    rejected: Sequence[dict[str, Any]]


#: Takes NDJSON (one line a shot), returns once it is durable.
Deliver = Callable[[bytes], Delivered]


@dataclasses.dataclass
class ForwardCounts:
    """What went out since the start, for the report of the source."""

    stored: int = 0
    duplicate: int = 0
    conflict: int = 0
    rejected: int = 0
    kept_apart: int = 0
    delivered_ms: int | None = None
    trouble: str = ""
    trouble_ms: int | None = None
    #: The newest reasons for which rows were kept apart, here or by the server.
    reasons: "collections.deque[str]" = dataclasses.field(default_factory=lambda: collections.deque(maxlen=5))


class Forwarder:
    """Empties a spool in order, from a thread of its own (`start`, `stop`) or step by step (`step`)."""

    def __init__(
        self, deliver: Deliver, spool: Spool, *, batch_lines: int = BATCH_LINES, seed: int | None = None
    ) -> None:
        self.spool = spool
        self.counts = ForwardCounts()
        self._deliver = deliver
        self._batch_lines = self._usual_lines = batch_lines
        self._failures = 0
        self._chance = random.Random(seed)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        self._thread = threading.Thread(target=self.run, name="ringtell-sender", daemon=True)
        self._thread.start()

    def stop(self, *, within_s: float = 10.0) -> None:
        """End after the batch under way; what waits is sent after the next start."""
        self._stop.set()
        self.spool.arrived.set()
        if self._thread is not None:
            self._thread.join(timeout=within_s)

    def run(self) -> None:
        """Send until `stop`."""
        while not self._stop.is_set():
            try:
                wait_s = self.step()
            except Exception as error:  # unforeseen: told, counted, and tried again later
                log.exception("sending failed")
                wait_s = self._wait_after(f"{type(error).__name__}: {error}", None)
            if wait_s is None:
                self.spool.arrived.wait(_IDLE_S)
            elif wait_s > 0.0:
                self._stop.wait(wait_s)

    def step(self) -> float | None:
        """One batch. Seconds to wait before the next, or None when nothing waits."""
        self.spool.arrived.clear()
        lines = self._next_batch()
        if not lines:
            return None
        try:
            self._send(lines)
        except TryLaterError as error:
            return self._wait_after(error.message, error.after_s)
        if self._failures:
            log.info("delivering again after %d failures", self._failures)
        self._failures = 0
        self.counts.trouble, self.counts.trouble_ms = "", None
        self._batch_lines = min(self._usual_lines, self._batch_lines * 2)
        return 0.0

    def drain(self) -> None:
        """Send what waits, without waiting out any trouble: raises nothing, leaves the rest."""
        while self.step() == 0.0:
            continue

    def _next_batch(self) -> list[Spooled]:
        lines, characters = self.spool.oldest(self._batch_lines), 0
        for position, one in enumerate(lines):
            characters += len(one.line) + 1
            if characters > BATCH_CHARACTERS and position:
                return lines[:position]
        return lines

    def _send(self, lines: Sequence[Spooled]) -> None:
        try:
            answer = self._deliver("\n".join(one.line for one in lines).encode())
        except RefusedBatchError as error:
            self._halve(lines, error)
            return
        if answer.received != len(lines):
            raise TryLaterError(
                f"{len(lines)} shots were sent, the answer speaks of {answer.received}: is a Ringtell"
                " server at this address?"
            )
        self.spool.acknowledge(lines)
        self._note(answer)

    def _halve(self, lines: Sequence[Spooled], error: RefusedBatchError) -> None:
        """In order, the halves of a refused batch; a single line is kept apart with the reason.

        Where the key may not send for a press, the batch is taken apart by press instead.
        """
        presses = dict.fromkeys(one.press for one in lines)
        if len(lines) == 1 or (error.about_press and len(presses) == 1):
            self.spool.refuse(lines, code=error.reason_code, reason=error.message)
            self.counts.kept_apart += len(lines)
            self.counts.reasons.append(f"{lines[0].press}: {error.message}")
            many, press = len(lines), lines[0].press
            log.error("%d shots of %s were refused and are kept apart: %s", many, press, error.message)
            return
        if error.about_press:
            for press in presses:
                self._send([one for one in lines if one.press == press])
            return
        middle = len(lines) // 2
        if error.too_large:
            self._batch_lines = max(1, middle)
        self._send(lines[:middle])
        self._send(lines[middle:])

    def _note(self, answer: Delivered) -> None:
        counts = self.counts
        counts.stored += answer.stored
        counts.duplicate += answer.duplicate
        counts.conflict += answer.conflict
        counts.rejected += len(answer.rejected)
        counts.delivered_ms = now_ms()
        for row in answer.rejected[:5]:
            counts.reasons.append(str(row.get("message", ""))[:300])
        if answer.rejected:
            log.warning("the server keeps %d rows apart: %s", len(answer.rejected), counts.reasons[-1])

    def _wait_after(self, trouble: str, after_s: float | None) -> float:
        """Twice as long after each failure, and not the same for every collector of a plant."""
        if trouble != self.counts.trouble:
            log.warning("not delivered, the shots wait in %s: %s", self.spool.path, trouble)
        self.counts.trouble, self.counts.trouble_ms = trouble, now_ms()
        longest = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(self._failures, 20))
        self._failures += 1
        return max(after_s or 0.0, longest * self._chance.uniform(0.5, 1.0))
