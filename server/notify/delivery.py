"""Delivery: messages are claimed, sent outside any transaction, and marked: a slow server holds nobody.

A message leaves at least once: a courier that dies between sending and marking leaves a claim behind,
which counts for nothing after a while, and the message is sent again under the same id.

Each recipient of an outlet is a lane of its own: messages for one go in turn, those for different ones
side by side, at most so many an outlet. A server that does not answer delays whoever listens there alone.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Callable, Collection, Mapping
from typing import Final

from server.errors import RingtellError
from server.language import N_, Language, spoken
from server.notify.message import message_of
from server.notify.outlets import Outlet
from server.store import outbox as kept
from server.store.database import USUAL, Store
from server.store.outbox import Lane, Outgoing

log = logging.getLogger("ringtell.alarms")

#: Tries before a message is given up; together about a day.
TRIES_MAX: Final = 12
#: Milliseconds before the second try, doubled each time up to the longest pause.
FIRST_PAUSE_MS, LONGEST_PAUSE_MS = 15_000, 3 * 3_600_000
#: A claim this old was made by a courier that never came back. Longer than any outlet's patience.
CLAIM_LOST_MS: Final = 180_000
#: Seconds between two rounds.
ROUND_EVERY_S: float = 2.0
#: Messages for one recipient taken in one round.
ROUND_MAX: Final = 50
#: Recipients of one outlet sent to at the same time.
LANES_MAX: Final = 4
#: Seconds a server that stops waits for what is being sent; what is cut short is sent again.
PARTING_S: Final = 5.0


def pause_ms(tries: int, *, chance: float) -> int:
    """How long to wait after so many failed tries: doubled each time, spread by chance (0 to 1).

    The spread keeps many messages from all knocking again at the same moment.

    >>> [pause_ms(tries, chance=1.0) for tries in (1, 2, 3)], pause_ms(1, chance=0.0)
    ([15000, 30000, 60000], 7500)
    """
    longest = min(FIRST_PAUSE_MS * 2 ** (tries - 1), LONGEST_PAUSE_MS)
    return int(longest * (0.5 + 0.5 * chance))


class _Sending:
    """One lane at work, in a thread that does not outlive the server."""

    def __init__(self, work: Callable[[Lane, _Sending], None], lane: Lane) -> None:
        self.left = 0
        self.thread = threading.Thread(
            target=work, args=(lane, self), name=f"ringtell-courier-{lane[0]}", daemon=True
        )


class Courier:
    """Sends what is due. `chance` is random's, or a test's."""

    def __init__(
        self,
        store: Store,
        outlets: Mapping[str, Outlet],
        *,
        now_ms: Callable[[], int],
        page: str = "",
        language: Language | None = None,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self.outlets = outlets
        self._store, self._now_ms, self._page, self._chance = store, now_ms, page, chance
        #: What messages are written in: the plant's, since nobody has asked for them in another.
        self._language = language
        self._lanes: dict[Lane, _Sending] = {}
        self._lock = threading.Lock()

    def round(self) -> int:
        """Send what is due now, each message in its own claim; how many left, once all that is through."""
        left, done = 0, set[Lane]()
        while begun := self.begin(but=done):
            for lane, sending in begun.items():
                sending.thread.join()
                left += sending.left
                done.add(lane)
        return left

    def begin(self, *, but: Collection[Lane] = ()) -> Mapping[Lane, _Sending]:
        """Begin a lane for every recipient something is due for, where there is room; those begun."""
        now_ms = self._now_ms()
        with self._store.read() as connection:
            due = kept.due_lanes(connection, now_ms=now_ms, lost_ms=now_ms - CLAIM_LOST_MS)
        begun: dict[Lane, _Sending] = {}
        for lane in due:
            with self._lock:
                of_outlet = sum(outlet == lane[0] for outlet, _ in self._lanes)
                if lane in but or lane in self._lanes or of_outlet >= LANES_MAX:
                    continue
                begun[lane] = self._lanes[lane] = _Sending(self._send_lane, lane)
        for sending in begun.values():
            sending.thread.start()
        return begun

    def _send_lane(self, lane: Lane, sending: _Sending) -> None:
        """What is due for one recipient, in turn, until something fails: the rest has its time next round."""
        try:
            now_ms = self._now_ms()
            with self._store.read() as connection:
                due = kept.due_messages(
                    connection, now_ms=now_ms, lost_ms=now_ms - CLAIM_LOST_MS, limit=ROUND_MAX, lane=lane
                )
            for message in due:
                if not self._deliver(message):
                    break
                sending.left += 1
        except Exception:  # the next round tries again
            log.exception("messages by %s could not be sent", lane[0])
        finally:
            with self._lock:
                del self._lanes[lane]

    def run(self, stop: threading.Event, *, every_s: float | None = None) -> None:
        """Round after round until told to stop; a lane that is still busy is passed over."""
        while not stop.wait(timeout=ROUND_EVERY_S if every_s is None else every_s):
            try:
                self.begin()
            except Exception:  # the next round tries again
                log.exception("messages could not be looked at")
        with self._lock:
            busy = list(self._lanes.values())
        until = time.monotonic() + PARTING_S
        for sending in busy:
            sending.thread.join(timeout=max(0.0, until - time.monotonic()))

    def _deliver(self, message: Outgoing) -> bool:
        if not self._claimed(message):
            return False
        try:
            outlet = self.outlets.get(message.outlet)
            if outlet is None:
                raise RingtellError(
                    N_("the server was not told how to use the outlet {outlet!r}", outlet=message.outlet)
                )
            with spoken(self._language):
                said = message_of(message, page=self._page)
            outlet.send(said, message.recipient, now_ms=self._now_ms())
        except Exception as error:  # whatever an outlet cannot do is noted beside the message
            self._failed(message, error)
            return False
        now_ms = self._now_ms()
        self._store.write(lambda c: kept.mark_delivered(c, message, now_ms=now_ms), priority=USUAL)
        return True

    def _claimed(self, message: Outgoing) -> bool:
        now_ms = self._now_ms()
        return self._store.write(
            lambda c: kept.claim(c, message, now_ms=now_ms, lost_ms=now_ms - CLAIM_LOST_MS), priority=USUAL
        )

    def _failed(self, message: Outgoing, error: Exception) -> None:
        now_ms, tries = self._now_ms(), message.tries + 1
        again = None if tries >= TRIES_MAX else now_ms + pause_ms(tries, chance=self._chance())
        trouble = trouble_text(error)
        log.warning("message %s by %s failed, try %d: %s", message.message_id, message.outlet, tries, trouble)
        self._store.write(
            lambda c: kept.mark_failed(c, message, trouble=trouble, next_try_ms=again, now_ms=now_ms),
            priority=USUAL,
        )


def trouble_text(error: Exception) -> str:
    """What went wrong in words that carry no secret: our own sentences, else only what kind of trouble.

    An SMTP server's answer may quote what it was sent; its code says enough.
    """
    if isinstance(error, RingtellError):
        return error.message
    code = getattr(error, "smtp_code", None)
    if code is not None:
        return f"{type(error).__name__}, the mail server answered {code}"
    if isinstance(error, OSError) and error.strerror:
        return f"{type(error).__name__}: {error.strerror}"
    return type(error).__name__
