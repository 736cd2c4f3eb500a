"""A nursery for servers, and a plant whose server is killed after the test, whatever happened."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.faults.births import Nursery
from tests.faults.plant import Plant

#: Computing in the server itself: a child process takes seconds to begin, a hundred times over.
IN_ITSELF = {"RINGTELL_CHILD_PROCESS": "0"}


@pytest.fixture(scope="session")
def nursery() -> Iterator[Nursery]:
    one = Nursery()
    yield one
    one.end()


@pytest.fixture
def plants(nursery: Nursery, tmp_path: Path) -> Iterator[Callable[..., Plant]]:
    """Makes plants that are not yet running; all of them end with the test."""
    made: list[Plant] = []

    def make(**how: Any) -> Plant:
        settings = {**IN_ITSELF, **how.pop("settings", {})}
        made.append(Plant(tmp_path, settings=settings, nursery=nursery, **how))
        return made[-1]

    yield make
    for plant in made:
        plant.end()


@pytest.fixture
def plant(plants: Callable[..., Plant]) -> Plant:
    """A running server over an empty SQLite database, no login."""
    one = plants()
    one.served.start()
    return one
