"""What forms choose from."""

import sqlalchemy as sa

from server.show.pages import Choice
from server.show.press_words import full_name
from server.store.page_queries import accepted_presses, mold_parts


def press_choices(connection: sa.Connection, chosen: str = "") -> tuple[Choice, ...]:
    return tuple(
        Choice(row["press"], full_name(row), row["press"] == chosen) for row in accepted_presses(connection)
    )


def mold_choices(connection: sa.Connection) -> tuple[Choice, ...]:
    return tuple(Choice(mold, f"{mold} {part}".strip()) for mold, part in mold_parts(connection).items())
