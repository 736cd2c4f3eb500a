"""What forms choose from."""

import sqlalchemy as sa

from server.show.frame import Actor
from server.show.pages import Choice
from server.show.press_words import full_name
from server.store.page_queries import accepted_presses, mold_parts


def press_choices(
    connection: sa.Connection, chosen: str = "", *, actor: Actor | None = None
) -> tuple[Choice, ...]:
    """Presses to choose from; with an actor those they may act on."""
    among = None if actor is None else actor.presses
    return tuple(
        Choice(row["press"], full_name(row), row["press"] == chosen)
        for row in accepted_presses(connection)
        if among is None or row["press"] in among
    )


def mold_choices(connection: sa.Connection) -> tuple[Choice, ...]:
    return tuple(Choice(mold, f"{mold} {part}".strip()) for mold, part in mold_parts(connection).items())
