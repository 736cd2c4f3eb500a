"""What the tests of recording share: the time, refusals, what waits for evaluation."""

from typing import Any

import pytest
import sqlalchemy as sa

from server.errors import InvalidError
from server.store import intake
from server.store.plant import Press
from tests.notify.plants import HOUR, MORNING

NOW = MORNING + 24 * HOUR


def refused(action: Any, field: str, *parts: str) -> None:
    """The action is refused, naming this field and these parts."""
    with pytest.raises(InvalidError) as caught:
        action()
    assert caught.value.field == field, caught.value.message
    for part in parts:
        assert part in caught.value.message


def waits_from(connection: sa.Connection, press: Press) -> int | None:
    waiting = intake.waiting_of(connection, press.press_id)
    return None if waiting is None else waiting.earliest_ms
