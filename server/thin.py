"""Thins out raw shots older than the plant wants to keep: counts first, then small batches, each its own.
By command, or by itself in the quiet hours the plant has set (`Nightly`).

Kept for ever: summaries, scores, findings, alarms, everything people recorded; and of the raw shots those
of every startup record, those contained by a leak or bottoming alarm, and the day before each study.
"""

import contextlib
import dataclasses
import datetime as dt
import logging
import threading
from collections.abc import Callable, Iterator

import sqlalchemy as sa

from server.clock import as_text
from server.errors import RingtellError, UsageError
from server.evaluate.carry import CODEC
from server.store import thinning
from server.store.audit import add_audit
from server.store.database import BACKGROUND, Store
from server.store.months import drop_thinned
from server.store.plant import Press, all_presses, read_settings
from server.store.shots import count_shots
from server.store.trouble import trouble_of
from server.thin_fine import thin_fine
from server.words.times import HOUR, Zone

log = logging.getLogger("ringtell")

#: Milliseconds of a month, the Gregorian mean (365.2425 days / 12).
MONTH_MS = 2_629_746_000
#: How long after its hour the server may still thin; seconds between two batches, and between two looks.
LONGEST_MS, BATCH_PAUSE_S, LOOK_EVERY_S = 4 * HOUR, 0.05, 60.0
#: Who it is in the audit trail.
BY_ITSELF = "ringtell, by itself"


@dataclasses.dataclass(frozen=True)
class Going:
    """What a thinning means for one press: raw shots before `floor_ms` go, all but `stays` of them."""

    press: Press
    floor_ms: int | None
    goes: int
    stays: int


def cutoff_of(store: Store, months: float | None, *, now_ms: int) -> int:
    """The moment before which raw shots may go: after what was asked, or what the plant has set."""
    if months is None:
        with store.read() as connection:
            months = float(read_settings(connection)["keep_raw_months"])
    if months <= 0:
        raise UsageError(
            "the plant keeps raw shots for ever; set keep_raw_months in its settings, or give --months"
        )
    return now_ms - int(months * MONTH_MS)


def fine_cutoff_of(store: Store, months: float | None, *, now_ms: int) -> int | None:
    """The moment before which ten-minute summaries may go, asked or set; None: they stay for ever."""
    if months is None:
        with store.read() as connection:
            months = float(read_settings(connection)["keep_fine_months"])
    return now_ms - int(months * MONTH_MS) if months > 0 else None


def looked_at(store: Store, *, cutoff_ms: int) -> Iterator[Going]:
    """Press by press what a thinning would take; nothing is changed."""
    with store.read() as connection:
        presses = all_presses(connection)
    for press in presses:
        with store.read() as connection:
            yield _going(connection, press, cutoff_ms)


def _going(connection: sa.Connection, press: Press, cutoff_ms: int) -> Going:
    floor_ms = _floor_ms(connection, press.press_id, cutoff_ms)
    if floor_ms is None:
        return Going(press, None, 0, count_shots(connection, press.press_id))
    kept = thinning.kept_stretches(connection, press.press_id, until_ms=floor_ms)
    goes = thinning.count_going(connection, press.press_id, floor_ms, kept)
    return Going(press, floor_ms, goes, count_shots(connection, press.press_id) - goes)


def _floor_ms(connection: sa.Connection, press_id: int, cutoff_ms: int) -> int | None:
    """The floor after a thinning; one that was cut short before is finished, too."""
    now = thinning.floor_of(connection, press_id)
    new = thinning.floor_at(connection, press_id, before_ms=cutoff_ms, codec=CODEC)
    return max((one.floor_ms for one in (now, new) if one is not None), default=None)


def thin_press(
    store: Store, press: Press, *, cutoff_ms: int, who: str, now_ms: int, pause: Callable[[], object]
) -> int:
    """Thin one press; how many raw shots went. `pause` is called between two batches."""
    floor_ms = store.write(
        lambda connection: _set_floor(connection, press.press_id, cutoff_ms, who=who, now_ms=now_ms),
        priority=BACKGROUND,
    )
    if floor_ms is None:
        return 0
    with store.read() as connection:
        kept = thinning.kept_stretches(connection, press.press_id, until_ms=floor_ms)
    gone = 0
    try:
        while some := store.write(
            lambda connection: thinning.remove_some(connection, press.press_id, floor_ms, kept),
            priority=BACKGROUND,
        ):
            gone += some
            pause()
    finally:
        # Also of a thinning that is broken off: what went, went.
        if gone:
            store.write(lambda connection: _audit(connection, press, floor_ms, gone, who=who, now_ms=now_ms))
    return gone


def _set_floor(
    connection: sa.Connection, press_id: int, cutoff_ms: int, *, who: str, now_ms: int
) -> int | None:
    now = thinning.floor_of(connection, press_id)
    new = thinning.floor_at(connection, press_id, before_ms=cutoff_ms, codec=CODEC)
    if new is not None and (now is None or new.floor_ms > now.floor_ms):
        thinning.keep_floor(connection, press_id, new, who=who, now_ms=now_ms)
        return new.floor_ms
    return None if now is None else now.floor_ms


def _audit(
    connection: sa.Connection, press: Press, floor_ms: int, gone: int, *, who: str, now_ms: int
) -> None:
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="shots_thinned",
        subject=f"raw shots before {as_text(floor_ms)}",
        after={"removed": gone, "floor": as_text(floor_ms)},
    )


class _EnoughError(Exception):
    """The quiet hours are over, or the server stops; the rest waits for the next night."""


class Nightly:
    """Thins press by press in the quiet hours, in a thread of its own; several servers do no harm: what one
    has taken the other does not find."""

    def __init__(self, store: Store, now_ms: Callable[[], int], *, pause_s: float = BATCH_PAUSE_S) -> None:
        self._store = store
        self._now_ms = now_ms
        self._pause_s = pause_s
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        #: The night each press was last thinned in.
        self._done: dict[int, dt.date] = {}
        #: The night whose months and summaries were seen to.
        self._finished: dt.date | None = None

    def start(self) -> None:
        self._thread = threading.Thread(target=self._run, name="ringtell-thinning", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join(30)

    def _run(self) -> None:
        while not self._stop.wait(LOOK_EVERY_S):
            try:
                self.look()
            except Exception as error:  # whatever it is: the next minute tries again
                known = error if isinstance(error, RingtellError) else trouble_of(error)
                if known is None:
                    log.exception("thinning by itself failed")
                else:
                    log.warning("thinning by itself waits: %s", known.message)

    def look(self) -> int:
        """Thin what is due, if these are the hours for it; how many raw shots went."""
        with self._store.read() as connection:
            settings = read_settings(connection)
            presses = all_presses(connection)
        night = quiet_night(str(settings["thin_at"]), Zone(str(settings["time_zone"])), self._now_ms())
        months = float(settings["keep_raw_months"])
        if night is None or months <= 0:
            return 0
        gone = 0
        for press in presses:
            if self._done.get(press.press_id) == night:
                continue
            now_ms = self._now_ms()
            try:
                gone += thin_press(
                    self._store, press, cutoff_ms=now_ms - int(months * MONTH_MS), who=BY_ITSELF,
                    now_ms=now_ms, pause=self._pause,
                )  # fmt: skip
            except _EnoughError:
                break
            self._done[press.press_id] = night
        else:
            if self._finished != night:
                self._finish(presses, int(self._now_ms() - months * MONTH_MS))
                self._finished = night
        if gone:
            log.info("thinned %d raw shots by itself", gone)
        return gone

    def _finish(self, presses: list[Press], cutoff_ms: int) -> None:
        """Months that are thinned out as a whole, then summaries."""
        for name in drop_thinned(self._store, cutoff_ms=cutoff_ms):
            log.info("%s is thinned out: dropped", name)
        now_ms = self._now_ms()
        fine_ms = fine_cutoff_of(self._store, None, now_ms=now_ms)
        if fine_ms is not None:
            with contextlib.suppress(_EnoughError):
                thin_fine(
                    self._store, presses, cutoff_ms=fine_ms, who=BY_ITSELF, now_ms=now_ms, pause=self._pause
                )

    def _pause(self) -> None:
        if self._stop.wait(self._pause_s):
            raise _EnoughError
        with self._store.read() as connection:
            settings = read_settings(connection)
        zone = Zone(str(settings["time_zone"]))
        if quiet_night(str(settings["thin_at"]), zone, self._now_ms()) is None:
            raise _EnoughError


def quiet_night(thin_at: str, zone: Zone, now_ms: int) -> dt.date | None:
    """The day whose quiet hours a moment lies in; None outside them, or where none are set.

    >>> quiet_night("22:30", Zone("UTC"), 25 * HOUR), quiet_night("22:30", Zone("UTC"), 3 * HOUR)
    (datetime.date(1970, 1, 1), None)
    """
    if not thin_at:
        return None
    hour, _, minute = thin_at.partition(":")
    local = zone.local(now_ms)
    for day in (local.date(), local.date() - dt.timedelta(days=1)):
        begin = dt.datetime.combine(day, dt.time(int(hour), int(minute)), tzinfo=local.tzinfo)
        if dt.timedelta(0) <= local - begin < dt.timedelta(milliseconds=LONGEST_MS):
            return day
    return None
