"""What the tests of the collectors share."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.collect.spool import Spool


@pytest.fixture
def spool(tmp_path: Path) -> Iterator[Spool]:
    made = Spool(tmp_path / "spool.db")
    yield made
    made.close()
