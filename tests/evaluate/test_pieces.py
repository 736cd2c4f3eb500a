"""Work cut into pieces calls for the same alarms as work done at once."""

import functools
from typing import Any

import pytest
import sqlalchemy as sa

from server import pipeline
from server.evaluate import press as evaluation
from server.notify.hub import Hub
from server.pipeline import Pipeline
from server.store import intake
from server.store.database import Store
from server.store.tables import alarms
from tests.evaluate.history import START_MS, Bringing, record_of, shots_of

#: The screw is at its end in shots 330 to 335 of the history.
BOTTOMS, OVER = 300, 345


def cut(monkeypatch: pytest.MonkeyPatch, piece: int) -> None:
    """Evaluate so many shots in one piece of work."""
    monkeypatch.setattr(evaluation, "STRETCH", piece)
    monkeypatch.setattr(pipeline, "evaluate_press", functools.partial(evaluation.evaluate_press, piece=piece))


def called(store: Store) -> list[tuple[Any, ...]]:
    with store.read() as connection:
        rows = connection.execute(sa.select(alarms.c.kind, alarms.c.state).order_by(alarms.c.kind))
        return [tuple(row) for row in rows]


@pytest.fixture(params=[40, 50, 10_000])
def running(store: Store, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Pipeline:
    cut(monkeypatch, request.param)
    return Pipeline(store, Hub(), now_ms=lambda: START_MS + 10, child_process=False)


def test_what_came_and_went_early_in_a_backlog_calls(store: Store, running: Pipeline) -> None:
    shots = shots_of("P07")
    press = Bringing(store, "P07", record_of(shots))
    press.bring(shots[:BOTTOMS])
    running.evaluate_all()
    assert called(store) == []
    press.bring(shots[BOTTOMS:])
    running.evaluate_all()
    assert called(store) == [("bottoming", "returned_unacknowledged")]


def test_history_brought_in_calls_nobody(store: Store, running: Pipeline) -> None:
    shots = shots_of("P07")
    press = Bringing(store, "P07", record_of(shots))
    press.bring(shots[:OVER])
    running.evaluate_all()
    assert called(store) == []


def test_history_evaluated_again_calls_nobody(store: Store, running: Pipeline) -> None:
    shots = shots_of("P07")
    press = Bringing(store, "P07", record_of(shots))
    press.bring(shots[:OVER])
    running.evaluate_all()

    def ask(connection: sa.Connection) -> None:
        intake.add(
            connection, press.press_id, earliest_ms=START_MS, shots=0, reason="rewrite", now_ms=START_MS
        )

    store.write(ask)
    running.evaluate_all()
    assert called(store) == []
