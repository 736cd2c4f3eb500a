"""Questions about one press read one press, however many the plant has."""

from typing import Any

import sqlalchemy as sa

from server.store.database import Store
from server.store.page_queries import accepted_presses, baselines_in_force, press_with_state
from server.store.plant import put_press
from tests.evaluate.history import Bringing, record_of, shots_of

NOW_MS = 1_775_023_200_000


def test_one_press_with_its_state_is_asked_for_alone(any_store: Store) -> None:
    def fill(connection: Any) -> None:
        for code in ("P01", "P02", "P03"):
            put_press(connection, code, {"accepted": code != "P03"}, now_ms=NOW_MS)

    any_store.write(fill)
    with any_store.read() as connection:
        every = {row["press"]: row for row in accepted_presses(connection)}
        asked: list[Any] = []
        sa.event.listen(connection, "before_cursor_execute", lambda *said: asked.append(said[2:4]))
        assert press_with_state(connection, "P02") == every["P02"]
        assert press_with_state(connection, "P03") is None
    assert sorted(every) == ["P01", "P02"]
    assert all("P0" in str(given) for query, given in asked if "press_states" in query)


def test_a_page_of_one_press_reads_no_other_presss_record(any_store: Store) -> None:
    for press in ("P1", "P2"):
        shots = shots_of(press)
        bringing = Bringing(any_store, press, record_of(shots))
        bringing.bring(shots)
        bringing.approve(shots)
        bringing.settle()
    with any_store.read() as connection:
        every = baselines_in_force(connection)
        (one, other) = every
        assert baselines_in_force(connection, one) == {one: every[one]}
        assert baselines_in_force(connection, other) == {other: every[other]}
