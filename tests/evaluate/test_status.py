"""What a press's score says of itself: status, missing signals, state after the valve is left out."""

import numpy as np
import pytest

from server.store.database import Store
from server.store.page_queries import press_with_state
from server.store.plant import put_press
from tests.evaluate.history import RECORD, START_MS, Bringing, record_of, shots_of


def _status(store: Store, press: str) -> str:
    with store.read() as connection:
        row = press_with_state(connection, press)
    assert row is not None
    return str(row["leak_status"])


def test_without_a_baseline_nothing_is_said(store: Store) -> None:
    shots = shots_of("A")
    bringing = Bringing(store, "A", record_of(shots))
    bringing.bring(shots)
    bringing.settle()
    assert _status(store, "A") == "no_baseline"


def test_right_after_the_record_there_are_too_few_shots(store: Store) -> None:
    shots = shots_of("B")
    bringing = Bringing(store, "B", record_of(shots))
    bringing.bring(shots[: RECORD + 3])
    bringing.approve(shots)
    bringing.settle()
    assert _status(store, "B") == "too_few_shots"
    bringing.bring(shots[RECORD + 3 : RECORD + 45])
    bringing.settle()
    assert _status(store, "B") == "ok"


def test_a_record_without_swept_stroke_carries_no_score(store: Store) -> None:
    shots = shots_of("C")
    document = record_of(shots)
    del document["signals"]["swept_mm"]
    bringing = Bringing(store, "C", document)
    bringing.bring(shots)
    bringing.approve(shots)
    bringing.settle()
    assert _status(store, "C") == "missing_signals"


def test_a_press_without_a_valve_has_no_score(store: Store) -> None:
    shots = shots_of("D")
    bringing = Bringing(store, "D", record_of(shots))
    store.write(lambda connection: put_press(connection, "D", {"valve_style": "none"}, now_ms=START_MS))
    bringing.bring(shots)
    bringing.approve(shots)
    bringing.settle()
    assert _status(store, "D") == "not_applicable"


def test_wear_raises_the_score_and_the_pieces_add_up(store: Store) -> None:
    shots = shots_of("E")
    bringing = Bringing(store, "E", record_of(shots))
    bringing.bring(shots)
    bringing.approve(shots)
    bringing.settle()
    with store.read() as connection:
        row = press_with_state(connection, "E")
    assert row is not None
    terms = np.frombuffer(row["terms"], dtype="<f8")
    assert row["prior_log_odds"] + terms.sum() == pytest.approx(row["log_odds"], abs=1e-9)
    assert row["log_odds"] > row["prior_log_odds"] + 2.0
