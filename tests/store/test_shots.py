"""Shots: the first of a key stays, columns come back in order and bit for bit, on both databases."""

import random
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from server.contract import SHOT_COLUMNS, SHOT_NUMBERS
from server.store.database import Store
from server.store.plant import need_press, put_press
from server.store.shots import Stored, count_shots, note_arrival, read_columns, store_by_press, store_shots
from server.store.tables import press_states

#: 2026-04-01T06:00:00Z
MORNING = 1_775_023_200_000
CYCLE_MS = 20_000


def shot(number: int, *, at_ms: int | None = None, setup_id: int = 7, **values: Any) -> tuple[Any, ...]:
    at = MORNING + number * CYCLE_MS if at_ms is None else at_ms
    given = {"shot_size_mm": 80.0, "cushion_mm": 6.0 + number / 8, **values}
    return (at, number, setup_id, *(given.get(name) for name in SHOT_COLUMNS))


def keep(store: Store, rows: list[tuple[Any, ...]], press_id: int = 1) -> Stored:
    return store.write(lambda connection: store_shots(connection, press_id, rows))


def cushions(store: Store, **how: Any) -> list[float]:
    with store.read() as connection:
        columns = read_columns(connection, 1, names=("cushion_mm",), **how)
    return [float(one) for one in columns["cushion_mm"]]


def test_new_shots_are_counted_and_kept(any_store: Store) -> None:
    stored = keep(any_store, [shot(i) for i in range(500)])
    assert (stored.new, stored.duplicates, stored.conflicts, stored.earliest_ms) == (500, (), (), MORNING)
    assert len(set(stored.keys)) == 500
    with any_store.read() as connection:
        assert count_shots(connection, 1) == count_shots(connection) == 500
        assert count_shots(connection, 2) == 0


def test_what_goes_wrong_while_shots_are_looked_for_is_raised_as_everywhere(postgresql_url: str) -> None:
    store = Store(postgresql_url)
    with store.engine.connect() as connection:
        for act in (
            lambda: connection.exec_driver_sql("SELECT nothing_of_this_name"),
            # In a transaction that failed nothing can be asked any more.
            lambda: store_by_press(connection, {1: [shot(1)]}),
            lambda: store_by_press(connection, {1: [shot(1)], 2: [shot(1)]}),
        ):
            with pytest.raises(sa.exc.DBAPIError):
                act()
    store.close()


def test_the_same_again_is_a_duplicate_and_changes_nothing(any_store: Store) -> None:
    rows = [shot(i) for i in range(5)]
    keep(any_store, rows)
    again = keep(any_store, [*rows, shot(5)])
    assert (again.new, again.duplicates, again.conflicts) == (1, (0, 1, 2, 3, 4), ())
    assert again.earliest_ms == MORNING + 5 * CYCLE_MS


def test_other_values_under_a_known_key_conflict_and_the_first_stays(any_store: Store) -> None:
    keep(any_store, [shot(1, cushion_mm=6.5)])
    again = keep(any_store, [shot(1, cushion_mm=9.9)])
    assert (again.new, again.duplicates, again.conflicts, again.earliest_ms) == (0, (), (0,), None)
    assert cushions(any_store) == [6.5]


def test_a_key_twice_within_one_batch_keeps_its_first_row(any_store: Store) -> None:
    stored = keep(any_store, [shot(1, cushion_mm=6.5), shot(1, cushion_mm=6.5), shot(1, cushion_mm=7.0)])
    assert (stored.new, stored.duplicates, stored.conflicts) == (1, (1,), (2,))
    assert cushions(any_store) == [6.5]


def test_another_setup_under_the_same_key_is_a_conflict(any_store: Store) -> None:
    keep(any_store, [shot(1)])
    assert keep(any_store, [shot(1, setup_id=8)]).conflicts == (0,)


@pytest.mark.parametrize("column", ["lot", "quality", "box", "serial", "extra", "curve", "part_weight_g"])
def test_every_column_tells_a_conflict_from_a_duplicate(store: Store, column: str) -> None:
    keep(store, [shot(1)])
    changed: dict[str, Any] = {column: 41.8 if column in SHOT_NUMBERS else "other"}
    assert keep(store, [shot(1, **changed)]).conflicts == (0,)
    assert keep(store, [shot(1)]).duplicates == (0,)


def test_two_shots_of_one_millisecond_are_told_apart_by_their_counter(any_store: Store) -> None:
    stored = keep(any_store, [shot(2, at_ms=MORNING), shot(1, at_ms=MORNING)])
    assert stored.new == 2
    assert cushions(any_store) == [6.125, 6.25]


def test_presses_do_not_see_one_another(any_store: Store) -> None:
    keep(any_store, [shot(1)], press_id=1)
    assert keep(any_store, [shot(1)], press_id=2).new == 1


def test_any_order_of_arrival_reads_back_in_order_of_time(any_store: Store) -> None:
    rows = [shot(i) for i in range(300)]
    shuffled = random.Random(11).sample(rows, len(rows))
    for start in range(0, 300, 70):
        keep(any_store, shuffled[start : start + 70])
    assert cushions(any_store) == [6.0 + i / 8 for i in range(300)]


def test_numbers_come_back_bit_for_bit(any_store: Store) -> None:
    rng = np.random.default_rng(5)
    values = [*(rng.random(50) * 10.0 ** rng.integers(-300, 300, 50)).tolist(), 5e-324, 0.1 + 0.2]
    keep(any_store, [shot(i, cushion_mm=value) for i, value in enumerate(values)])
    assert [one.hex() for one in cushions(any_store)] == [float(one).hex() for one in values]


def test_missing_is_not_a_number_and_not_zero(any_store: Store) -> None:
    keep(any_store, [shot(1, peak_pressure_bar=0.0), shot(2)])
    with any_store.read() as connection:
        peak = read_columns(connection, 1, names=("peak_pressure_bar",))["peak_pressure_bar"]
    assert peak[0] == 0.0
    assert np.isnan(peak[1])


def test_texts_come_back_as_they_were(any_store: Store) -> None:
    keep(any_store, [shot(1, lot="Ä1 'quoted' 語", box=None)])
    with any_store.read() as connection:
        columns = read_columns(connection, 1, names=("lot", "box"))
    assert columns["lot"].tolist() == ["Ä1 'quoted' 語"]
    assert columns["box"].tolist() == [None]


def test_reading_takes_from_inclusive_to_exclusive_and_after_exclusive(any_store: Store) -> None:
    keep(any_store, [shot(i) for i in range(10)])
    third, seventh = MORNING + 3 * CYCLE_MS, MORNING + 7 * CYCLE_MS
    assert cushions(any_store, from_ms=third, to_ms=seventh) == [6.0 + i / 8 for i in range(3, 7)]
    assert cushions(any_store, after=(third, 3)) == [6.0 + i / 8 for i in range(4, 10)]
    assert cushions(any_store, after=(third, 2)) == [6.0 + i / 8 for i in range(3, 10)]


def test_a_limit_takes_the_first_or_the_newest_always_in_order(any_store: Store) -> None:
    keep(any_store, [shot(i) for i in range(10)])
    assert cushions(any_store, limit=3) == [6.0, 6.125, 6.25]
    assert cushions(any_store, limit=3, newest=True) == [6.875, 7.0, 7.125]


def test_no_shots_read_as_empty_columns(any_store: Store) -> None:
    with any_store.read() as connection:
        columns = read_columns(connection, 1)
    assert set(columns) == {"at_ms", "counter", "setup_id", *SHOT_NUMBERS}
    assert {len(column) for column in columns.values()} == {0}


def test_the_newest_shot_of_a_press_is_not_put_back_by_a_late_one(any_store: Store) -> None:
    def report(connection: sa.Connection) -> tuple[Any, ...]:
        put_press(connection, "P07", {}, now_ms=MORNING)
        press_id = need_press(connection, "P07").press_id
        note_arrival(connection, press_id, last_shot_ms=MORNING, last_counter=9, now_ms=MORNING + 1)
        note_arrival(connection, press_id, last_shot_ms=MORNING - 5, last_counter=8, now_ms=MORNING + 2)
        state = press_states.c
        query = sa.select(state.last_shot_ms, state.last_counter, state.last_arrival_ms)
        return tuple(connection.execute(query).one())

    assert any_store.write(report) == (MORNING, 9, MORNING + 2)


def test_the_same_shots_from_senders_at_once_are_stored_once(postgresql_url: str) -> None:
    """One of them stores each shot, the other hears of a duplicate or a conflict: the first stays."""
    store = Store(postgresql_url)
    store.write(lambda connection: put_press(connection, "P01", {}, now_ms=0))
    width = len(SHOT_COLUMNS)
    senders, rounds, size = 4, 6, 300
    barrier = threading.Barrier(senders)

    def send(sender: int) -> list[Stored]:
        heard = []
        for number in range(rounds):
            first = number * size
            values = (1, float(sender), *[None] * (width - 1))
            barrier.wait(20)
            heard.append(keep(store, [(1_000 * n, n, *values) for n in range(first, first + size)]))
        return heard

    with ThreadPoolExecutor(senders) as pool:
        answers = [one for some in pool.map(send, range(senders)) for one in some]
    with store.read() as connection:
        values = connection.exec_driver_sql(f"SELECT {SHOT_COLUMNS[0]} FROM shots").scalars().all()
    store.close()
    assert len(values) == rounds * size == sum(one.new for one in answers)
    assert sum(len(one.conflicts) for one in answers) == (senders - 1) * rounds * size
