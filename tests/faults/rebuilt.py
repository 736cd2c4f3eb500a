"""Everything computed, computed again from the shots alone: the kills must not show in it."""

import shutil
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from server.care import check
from server.evaluate.press import evaluate_press
from server.store import evaluation as landed
from server.store import intake
from server.store.database import Store
from server.store.plant import all_presses
from server.store.tables import findings, press_states, rollups, scores
from tests.faults.plant import Plant

#: When the last shot came is no result of evaluation.
_LEFT_OUT = {"last_arrival_ms", "last_shot_ms", "last_counter"}


def assert_equals_a_rebuild(plant: Plant) -> None:
    """Findings, scores, roll-ups and states are those of one evaluation; the check finds nothing."""
    file = Path(str(plant.file) + ".rebuilt")
    shutil.copyfile(plant.file, file)
    store = Store(f"sqlite:///{file}")
    try:
        assert check(store, sample=50).faults == ()
        before = _results(store)
        with store.read() as connection:
            presses = [press.press_id for press in all_presses(connection)]
        for press_id in presses:
            _evaluate_again(store, press_id)
        after = _results(store)
    finally:
        store.close()
        for left in file.parent.glob(file.name + "*"):
            left.unlink()
    for name, rows in before.items():
        assert rows == after[name], f"{name} differs from a rebuild"
    assert before["rollups"]


def _evaluate_again(store: Store, press_id: int) -> None:
    def ask(connection: sa.Connection) -> None:
        intake.add(connection, press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=1)

    store.write(ask)
    while True:
        with store.read() as connection:
            one = evaluate_press(connection, press_id)
        if one is None:
            return
        _land(store, one)


def _land(store: Store, one: landed.Evaluation) -> None:
    store.write(lambda connection: landed.apply(connection, one, now_ms=2))


def _results(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    found = {}
    with store.read() as connection:
        for table in (findings, scores, rollups, press_states):
            columns = [column for column in table.c if column.name not in _LEFT_OUT]
            rows = connection.execute(sa.select(*columns).order_by(*columns[:5]))
            found[table.name] = [tuple(row) for row in rows]
    return found
