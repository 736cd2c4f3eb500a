"""Presses, set-ups and molds that shots make known, brought by several batches at the same moment."""

import functools
from concurrent.futures import ThreadPoolExecutor

import pytest
import sqlalchemy as sa

from server.clock import now_ms
from server.ingest.batch import ReadBatch
from server.ingest.labels import Label
from server.ingest.receive import Received, receive
from server.store.database import Store
from server.store.tables import molds, press_states, presses, setups
from tests.benchmarks.history import rows_of

PRESSES, BATCHES = 60, 6


def mixed(part: int, order: list[int], start_ms: int) -> ReadBatch:
    """Two shots of every press, in a given order of the presses; every one runs a mold of its own."""
    rows = []
    for number in order:
        label = Label(f"B{number:02d}", f"M-{number}", "PP-DEMO", None, None)
        made = rows_of(label.press, 2, start_ms=start_ms, first=2 * part)
        rows += [shot._replace(label=label) for shot in made]
    return ReadBatch(len(rows), rows, [])


@pytest.mark.parametrize("known", [False, True], ids=["new presses", "new molds"])
def test_batches_that_bring_the_same_new_things_at_once_are_all_stored(any_store: Store, known: bool) -> None:
    start_ms = now_ms() - 86_400_000
    everyone = list(range(PRESSES))
    if known:
        rows = [
            shot for number in everyone for shot in rows_of(f"B{number:02d}", 1, start_ms=start_ms - 9**9)
        ]
        first = ReadBatch(len(rows), rows, [])
        any_store.write(functools.partial(receive, batch=first, accept_unknown=True, now_ms=now_ms()))

    def bring(part: int) -> Received:
        # Each in an order of its own: whoever makes some must not wait for who made the others.
        order = everyone[part * 10 :] + everyone[: part * 10]
        batch = mixed(part, order[:: -1 if part % 2 else 1], start_ms)
        return any_store.write(functools.partial(receive, batch=batch, accept_unknown=True, now_ms=now_ms()))

    with ThreadPoolExecutor(BATCHES) as pool:
        answers = list(pool.map(bring, range(BATCHES)))
    assert [answer.stored for answer in answers] == [2 * PRESSES] * BATCHES
    with any_store.read() as connection:
        for table in (presses, press_states, setups, molds):
            count = connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            more = {setups: PRESSES, molds: 1}.get(table, 0) if known else 0
            assert count == PRESSES + more, table.name
