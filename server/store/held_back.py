"""Why a press's alarms are held back by design, and the questions that decide it."""

import dataclasses

import sqlalchemy as sa

from server.store.asked import Asked
from server.store.reported import BY_SHOTS
from server.store.tables import events, press_states, setups, shots, studies

Stretch = tuple[int, int]


@dataclasses.dataclass(frozen=True)
class Lately:
    """How many molds a press's newest shots had, settings people changed, and studies were made."""

    molds: int
    settings: int
    studies: int


def _lately() -> Asked:
    def value(name: str) -> sa.BindParameter[int]:
        return sa.bindparam(name, type_=sa.BigInteger)

    press_id = sa.bindparam("press_id", type_=sa.Integer)
    newest = (
        sa.select(shots.c.setup_id)
        .where(shots.c.press_id == press_id)
        .order_by(shots.c.at_ms.desc(), shots.c.counter.desc())
        .limit(value("last"))
        .subquery()
    )
    molds = (
        sa.select(sa.func.count(setups.c.mold.distinct()))
        .join_from(setups, newest, newest.c.setup_id == setups.c.setup_id)
        .where(setups.c.press_id == press_id)
    )
    # What a press reports by itself does not count: one whose set-points never rest would call nobody again.
    changed = sa.select(sa.func.count(events.c.event_no)).where(
        events.c.press_id == press_id,
        events.c.at_ms >= value("settings_from_ms"),
        events.c.at_ms <= value("settings_to_ms"),
        events.c.kind == "setting",
        events.c.author != BY_SHOTS,
    )
    studied = sa.select(sa.func.count(studies.c.study_no)).where(
        studies.c.press_id == press_id,
        studies.c.at_ms >= value("studies_from_ms"),
        studies.c.at_ms <= value("studies_to_ms"),
    )
    return Asked(sa.select(*(one.scalar_subquery() for one in (molds, changed, studied))))


_LATELY = _lately()


def lately_of(
    connection: sa.Connection, press_id: int, *, last: int, settings: Stretch, studies: Stretch
) -> Lately:
    """Molds of the `last` shots, and what people did within stretches of time, both ends included."""
    (row,) = _LATELY.rows(
        connection,
        press_id=press_id,
        last=last,
        settings_from_ms=settings[0],
        settings_to_ms=settings[1],
        studies_from_ms=studies[0],
        studies_to_ms=studies[1],
    )
    return Lately(*map(int, row))


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
