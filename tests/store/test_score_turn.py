"""Since when a score stays on one side of one half."""

import sqlalchemy as sa

from server.store.database import Store
from server.store.questions import score_turn
from server.store.tables import scores


def _keep(store: Store, *log_odds: float) -> None:
    rows = [
        {
            "press_id": 1, "at_ms": 1000 * k, "counter": k, "model_version": "t", "ordinal": k,
            "baseline_no": 1, "log_odds": value, "prior_log_odds": -3.0,
            "terms": b"", "causes": b"", "facts": b"",
        }
        for k, value in enumerate(log_odds, 1)
    ]  # fmt: skip
    store.write(lambda connection: connection.execute(sa.insert(scores), rows))


def test_the_turn_is_the_last_one_up(any_store: Store) -> None:
    _keep(any_store, -2.0, 1.0, -1.0, 0.5, 3.0)
    with any_store.read() as connection:
        assert score_turn(connection, 1, baseline_no=1) == (3000, 4000)
        assert score_turn(connection, 1, baseline_no=2) is None


def test_a_score_that_is_low_now_has_no_turn(any_store: Store) -> None:
    _keep(any_store, 2.0, -2.0)
    with any_store.read() as connection:
        assert score_turn(connection, 1, baseline_no=1) is None
