"""What is meant by a few letters: presses, molds, materials, valves, cases and studies that hold them.

Only small tables are looked through, and a press's own by its key; shots never are.
"""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.tables import cases, molds, press_states, presses, setups, studies, valves

Row = Mapping[str, Any]


def _holds(text: str, *columns: sa.ColumnElement[str]) -> sa.ColumnElement[bool]:
    """Whether a column holds the text, whatever its case; signs that stand for others are themselves."""
    return sa.or_(*(column.icontains(text, autoescape=True) for column in columns))


def _first(text: str, column: sa.ColumnElement[str]) -> sa.ColumnElement[int]:
    """Orders what is just the text before what begins with it, and that before the rest."""
    lower, wanted = sa.func.lower(column), text.lower()
    return sa.case((lower == wanted, 0), (lower.startswith(wanted, autoescape=True), 1), else_=2)


def _rows(connection: sa.Connection, query: sa.Select[Any], limit: int) -> list[Row]:
    return [dict(row._mapping) for row in connection.execute(query.limit(limit))]


def presses_with(connection: sa.Connection, text: str, *, limit: int) -> list[Row]:
    """Presses of the plant by code, name or area, with the mold they run."""
    c = presses.c
    query = (
        sa.select(c.press, c.name, c.area, press_states.c.mold)
        .join_from(presses, press_states, c.press_id == press_states.c.press_id, isouter=True)
        .where(c.accepted, _holds(text, c.press, c.name, c.area))
        .order_by(_first(text, c.press), c.press)
    )
    return _rows(connection, query, limit)


def molds_with(connection: sa.Connection, text: str, *, limit: int) -> list[Row]:
    """Molds by code or part."""
    c = molds.c
    query = sa.select(c.mold, c.part).where(_holds(text, c.mold, c.part))
    return _rows(connection, query.order_by(_first(text, c.mold), c.mold), limit)


def materials_with(connection: sa.Connection, text: str, *, limit: int) -> list[Row]:
    """Materials that ran, each with one mold it ran in and how many there were."""
    c = setups.c
    query = (
        sa.select(
            c.material, sa.func.min(c.mold).label("mold"), sa.func.count(c.mold.distinct()).label("molds")
        )
        .where(_holds(text, c.material))
        .group_by(c.material)
        .order_by(c.material)
    )
    return _rows(connection, query, limit)


def valves_with(connection: sa.Connection, text: str, *, limit: int) -> list[Row]:
    """Valves by part number or note, the newest first."""
    c = valves.c
    query = (
        sa.select(presses.c.press, c.valve_no, c.part_number, c.fitted_ms, c.removed_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .where(_holds(text, c.part_number, c.note))
        .order_by(c.fitted_ms.desc(), presses.c.press)
    )
    return _rows(connection, query, limit)


def cases_with(connection: sa.Connection, text: str, *, limit: int) -> list[Row]:
    """Cases by what they are about, whose they are, or their press, the newest first."""
    c = cases.c
    query = (
        sa.select(presses.c.press, c.case_no, c.about, c.owner, c.opened_ms)
        .join(presses, presses.c.press_id == c.press_id)
        .where(_holds(text, c.about, c.owner, presses.c.press))
        .order_by(c.opened_ms.desc(), presses.c.press)
    )
    return _rows(connection, query, limit)


def studies_with(connection: sa.Connection, text: str, *, limit: int) -> list[Row]:
    """Studies by mold, author or press, the newest first."""
    c = studies.c
    query = (
        sa.select(presses.c.press, c.study_no, c.kind, c.mold, c.at_ms, c.author)
        .join(presses, presses.c.press_id == c.press_id)
        .where(_holds(text, c.mold, c.author, presses.c.press))
        .order_by(c.at_ms.desc(), presses.c.press)
    )
    return _rows(connection, query, limit)
