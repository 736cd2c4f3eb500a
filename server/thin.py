"""Thins out raw shots older than the plant wants to keep: counts first, then small batches, each its own.

Kept for ever: summaries, scores, findings, alarms, everything people recorded; and of the raw shots those
of every startup record, those contained by a leak or bottoming alarm, and the day before each study.
"""

import dataclasses
from collections.abc import Callable, Iterator

import sqlalchemy as sa

from server.clock import as_text
from server.errors import UsageError
from server.evaluate.carry import CODEC
from server.store import thinning
from server.store.audit import add_audit
from server.store.database import BACKGROUND, Store
from server.store.plant import Press, all_presses, read_settings
from server.store.shots import count_shots

#: Milliseconds of a month, the Gregorian mean (365.2425 days / 12).
MONTH_MS = 2_629_746_000


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
    while True:
        some = store.write(
            lambda connection: thinning.remove_some(connection, press.press_id, floor_ms, kept),
            priority=BACKGROUND,
        )
        if not some:
            break
        gone += some
        pause()
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
