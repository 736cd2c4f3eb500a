"""Events a press reports by itself: changes of set-points, found again whenever its shots are evaluated."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.store.asked import EVER, Asked
from server.store.records import Event, add_event
from server.store.tables import events

#: Who an event is by that nobody recorded.
BY_SHOTS: Final = "the press itself"

_KNOWN = Asked(
    sa.select(events).where(
        events.c.press_id == sa.bindparam("press_id", type_=sa.Integer),
        events.c.at_ms >= sa.bindparam("from_ms", type_=sa.BigInteger),
        events.c.at_ms <= sa.bindparam("until_ms", type_=sa.BigInteger),
        events.c.author == BY_SHOTS,
    )
)

_SAID = ("at_ms", "kind", "setting", "from_value", "to_value")


def keep_reported(
    connection: sa.Connection,
    press_id: int,
    rows: Sequence[Mapping[str, Any]],
    *,
    after_ms: int | None,
    until_ms: int | None,
    now_ms: int,
) -> list[Event]:
    """Make the events reported after `after_ms` and up to `until_ms` those of `rows`; the new ones.

    One that is there already keeps its number, since cases speak of it; one that a late shot has undone goes.
    """
    if until_ms is None:
        return []
    from_ms = EVER if after_ms is None else after_ms
    found = _KNOWN.dicts(connection, press_id=press_id, from_ms=from_ms, until_ms=until_ms)
    known = {tuple(row[name] for name in _SAID): row for row in found}
    wanted = {tuple(row[name] for name in _SAID): row for row in rows}
    for said, row in known.items():
        # At the very moment of `after` it may be of the shots before.
        if said not in wanted and (after_ms is None or row["at_ms"] > after_ms):
            connection.execute(
                sa.delete(events).where(
                    events.c.press_id == press_id,
                    events.c.at_ms == row["at_ms"],
                    events.c.event_no == row["event_no"],
                )
            )
    return [
        add_event(
            connection,
            Event(press_id=press_id, event_no=0, lot="", note="", author=BY_SHOTS, recorded_ms=now_ms, **row),
        )
        for said, row in wanted.items()
        if said not in known
    ]
