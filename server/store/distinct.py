"""Which values a column has, found one after the other along an index: a few looks, however many rows."""

from typing import Any

import sqlalchemy as sa


def values_of(
    connection: sa.Connection, column: sa.Column[Any], *conditions: sa.ColumnElement[bool], limit: int = 1_000
) -> list[str]:
    """The first `limit` texts of a column in order, along an index of the conditions' columns and this one.

    A DISTINCT would read every row of the index.
    """
    found: list[str] = []
    while len(found) < limit:
        beyond = (column > found[-1],) if found else ()
        # The next by order and limit, not by min(): PostgreSQL walks the index for one as for the other.
        query = sa.select(column).where(*conditions, *beyond).order_by(column).limit(1)
        value = connection.execute(query).scalar_one_or_none()
        if value is None:
            return found
        found.append(str(value))
    return found
