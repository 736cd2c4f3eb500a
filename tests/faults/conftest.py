"""A plant whose server is killed after the test, whatever happened."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.plant import Plant


@pytest.fixture
def plant(tmp_path: Path) -> Iterator[Plant]:
    """A running server over an empty SQLite database, no login."""
    one = Plant(tmp_path)
    one.served.start()
    yield one
    one.end()
