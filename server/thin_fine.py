"""Lets ten-minute summaries go that are older than the plant wants to keep; hours and days stay for ever."""

import dataclasses
import functools
from collections.abc import Callable, Iterable

import sqlalchemy as sa

from server.clock import as_text
from server.store import fine_summaries
from server.store.audit import add_audit
from server.store.coarse_months import coarsen_months
from server.store.database import BACKGROUND, Store
from server.store.plant import Press


@dataclasses.dataclass(frozen=True)
class Gone:
    """How many ten-minute summaries went, and the months of PostgreSQL that went with theirs as a whole."""

    rows: int
    months: tuple[str, ...]


def fine_looked_at(store: Store, presses: Iterable[Press], *, cutoff_ms: int) -> int:
    """How many would go as things stand now; nothing is changed."""
    with store.read() as connection:
        floors = _floors(connection, presses, cutoff_ms)
        return sum(fine_summaries.count_fine(connection, one, before_ms=at) for one, at in floors.items())


def thin_fine(
    store: Store,
    presses: Iterable[Press],
    *,
    cutoff_ms: int,
    who: str,
    now_ms: int,
    pause: Callable[[], object],
) -> Gone:
    """Whole months first, which costs least, then what is left press by press; `pause` between batches."""
    with store.read() as connection:
        floors = _floors(connection, presses, cutoff_ms)
        before = {one: fine_summaries.count_fine(connection, one, before_ms=at) for one, at in floors.items()}
    months = tuple(coarsen_months(store, floors=floors, before_ms=cutoff_ms))
    try:
        for press_id, floor_ms in floors.items():
            some = functools.partial(fine_summaries.remove_fine, press_id=press_id, before_ms=floor_ms)
            while store.write(some, priority=BACKGROUND):
                pause()
    finally:
        # Also of one that is broken off: what went, went.
        gone = store.write(lambda connection: _audit(connection, before, floors, who=who, now_ms=now_ms))
    return Gone(gone, months)


def _floors(connection: sa.Connection, presses: Iterable[Press], cutoff_ms: int) -> dict[int, int]:
    found = {
        press.press_id: fine_summaries.fine_floor_at(connection, press.press_id, before_ms=cutoff_ms)
        for press in presses
    }
    return {press_id: floor_ms for press_id, floor_ms in found.items() if floor_ms is not None}


def _audit(
    connection: sa.Connection, before: dict[int, int], floors: dict[int, int], *, who: str, now_ms: int
) -> int:
    total = 0
    for press_id, count in before.items():
        gone = count - fine_summaries.count_fine(connection, press_id, before_ms=floors[press_id])
        total += gone
        if gone:
            floor = as_text(floors[press_id])
            add_audit(
                connection,
                press_id,
                now_ms=now_ms,
                who=who,
                action="summaries_thinned",
                subject=f"ten-minute summaries before {floor}",
                after={"removed": gone, "floor": floor},
            )
    return total
