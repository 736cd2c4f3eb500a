"""What a chart of a press shows before anybody chooses."""

import sqlalchemy as sa

from server.language import _
from server.store.page_queries import Row, first_shot_ms
from server.words.times import DAY


def chart_span(connection: sa.Connection, row: Row) -> str:
    """The stretch that is shown first: the last week, or everything where there is less."""
    first = first_shot_ms(connection, row["press_id"])
    if first is None or row["last_shot_ms"] is None:
        return "7d"
    return "all" if row["last_shot_ms"] - first < 7 * DAY else "7d"


def chart_empty(row: Row) -> str:
    """What stands where there is nothing to draw."""
    if row["last_shot_ms"] is None:
        return _("No shot has come yet. They come from a file, or from the press by itself.")
    return _("No shots in this stretch. Choose a longer one above.")
