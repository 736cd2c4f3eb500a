"""Why a press's alarms are held back by design, and the questions that decide it."""

import sqlalchemy as sa

from server.store.reported import BY_SHOTS
from server.store.tables import events, press_states, setups, shots, studies


def molds_lately(connection: sa.Connection, press_id: int, *, last: int) -> set[str]:
    """Molds of a press's newest shots."""
    newest = (
        sa.select(shots.c.setup_id)
        .where(shots.c.press_id == press_id)
        .order_by(shots.c.at_ms.desc(), shots.c.counter.desc())
        .limit(last)
        .subquery()
    )
    query = (
        sa.select(setups.c.mold)
        .join(newest, newest.c.setup_id == setups.c.setup_id)
        .where(setups.c.press_id == press_id)
        .distinct()
    )
    return {str(mold) for mold in connection.execute(query).scalars()}


def events_of_kind(connection: sa.Connection, press_id: int, *, kind: str, from_ms: int, to_ms: int) -> int:
    """How many events of a kind people recorded within a time, both ends included.

    What a press reports by itself does not count: one whose set-points never rest would call nobody again.
    """
    query = sa.select(sa.func.count()).where(
        events.c.press_id == press_id,
        events.c.at_ms >= from_ms,
        events.c.at_ms <= to_ms,
        events.c.kind == kind,
        events.c.author != BY_SHOTS,
    )
    return int(connection.execute(query).scalar_one())


def studies_between(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int) -> int:
    """How many studies of a press lie within a time, both ends included."""
    query = sa.select(sa.func.count()).where(
        studies.c.press_id == press_id, studies.c.at_ms >= from_ms, studies.c.at_ms <= to_ms
    )
    return int(connection.execute(query).scalar_one())


def keep_held_back(connection: sa.Connection, press_id: int, reason: str) -> None:
    """Keep why alarms are held back; '' when they are not."""
    connection.execute(
        sa.update(press_states).where(press_states.c.press_id == press_id).values(held_back=reason or None)
    )


def held_since(connection: sa.Connection, *, evaluated_before_ms: int) -> list[int]:
    """Presses whose alarms are held back though no shot was judged since a time."""
    query = (
        sa.select(press_states.c.press_id)
        .where(press_states.c.held_back.is_not(None), press_states.c.evaluated_ms < evaluated_before_ms)
        .order_by(press_states.c.press_id)
    )
    return [int(one) for one in connection.execute(query).scalars()]
