"""A migrated database to try things in, each time in a transaction that is never kept."""

import contextlib
import functools
import tempfile
from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa

from server.store.engine import open_engine, upgrade
from server.store.plant import Press, need_press, put_press
from server.store.shots import note_arrival

#: 2026-04-01T06:00:00Z
MORNING = 1_775_023_200_000
MINUTE = 60_000
HOUR = 60 * MINUTE


@functools.cache
def _folder() -> "tempfile.TemporaryDirectory[str]":
    return tempfile.TemporaryDirectory(prefix="ringtell-test-")


@functools.cache
def engine() -> sa.Engine:
    url = f"sqlite:///{Path(_folder().name) / 'plant.db'}"
    upgrade(url)
    return open_engine(url)


@contextlib.contextmanager
def scratch() -> Iterator[sa.Connection]:
    """A connection whose changes are undone at the end."""
    with engine().connect() as connection:
        yield connection
        connection.rollback()


def press_named(connection: sa.Connection, code: str = "P-07 Ä+", **changes: object) -> Press:
    put_press(connection, code, changes, now_ms=MORNING)
    return need_press(connection, code)


def reported(connection: sa.Connection, press: Press, *, at_ms: int, arrived_ms: int | None = None) -> None:
    """The press sent a shot."""
    note_arrival(
        connection,
        press.press_id,
        last_shot_ms=at_ms,
        last_counter=1,
        now_ms=at_ms if arrived_ms is None else arrived_ms,
    )
