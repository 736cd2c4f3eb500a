"""`ringtell evaluate --rebuild`: the bits of the live path, on every core, gone on with after a stop."""

from collections.abc import Iterator
from typing import Any

import pytest
import sqlalchemy as sa

from server import rebuild
from server.child import Elsewhere
from server.cli import main
from server.clock import now_ms
from server.errors import RingtellError, UsageError
from server.notify.hub import Hub
from server.pipeline import Pipeline
from server.store import intake
from server.store.database import Store
from server.store.plant import all_presses
from server.store.tables import findings, press_states, rollups, scores
from tests.benchmarks.history import watched_press

PRESSES, SHOTS = 2, 5_500


def results(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    found = {}
    with store.read() as connection:
        for table in (findings, scores, rollups, press_states):
            rows = connection.execute(sa.select(table).order_by(*list(table.c)[:5]))
            found[table.name] = [tuple(row) for row in rows]
    return found


def judged(store: Store) -> Pipeline:
    """A plant whose presses were evaluated as their shots came."""
    pipeline = Pipeline(store, Hub(), now_ms=now_ms, child_process=False)
    for number in range(PRESSES):
        watched_press(store, f"P{number}", SHOTS)
    pipeline.evaluate_all()
    return pipeline


@pytest.fixture
def live(any_store: Store) -> Iterator[Pipeline]:
    """Once on each kind of database."""
    pipeline = judged(any_store)
    yield pipeline
    pipeline.close()


@pytest.fixture
def live_here(store: Store) -> Iterator[Pipeline]:
    """On SQLite, for what no database has a part in."""
    pipeline = judged(store)
    yield pipeline
    pipeline.close()


def begin(store: Store, *, afresh: bool = False) -> rebuild.Begun:
    with store.read() as connection:
        presses = all_presses(connection)
    return rebuild.begin(store, presses, now_ms=now_ms(), afresh=afresh)


def test_several_workers_give_the_bits_of_the_live_path(live: Pipeline) -> None:
    before = results(live.store)
    many = Pipeline(live.store, Hub(), now_ms=now_ms, child_process=True, workers=2)
    begun = begin(live.store)
    assert (begun.shots, begun.goes_on) == (PRESSES * SHOTS, False)
    told: list[int] = []
    rebuild.run(many, begun, workers=2, report=told.append)
    many.close()
    assert results(live.store) == before
    assert len(before["scores"]) > 100
    assert sum(told) == PRESSES * SHOTS


def test_what_was_cut_short_is_gone_on_with(live: Pipeline) -> None:
    before = results(live.store)
    begin(live.store)
    # Killed after the first piece of one press.
    assert live.evaluate_one(1)
    again = begin(live.store)
    assert again.goes_on
    assert again.shots == PRESSES * SHOTS - 5_000
    rebuild.run(live, again, workers=2)
    assert results(live.store) == before
    assert not begin(live.store).goes_on


def test_afresh_means_all_of_it(live_here: Pipeline) -> None:
    begin(live_here.store)
    assert live_here.evaluate_one(1)
    begun = begin(live_here.store, afresh=True)
    assert (begun.goes_on, begun.shots) == (False, PRESSES * SHOTS)


def test_one_press_that_fails_does_not_stop_the_others(
    live_here: Pipeline, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = begin(live_here.store)
    works = Pipeline.evaluate_one

    def fails_with_the_second(self: Pipeline, press_id: int) -> bool:
        if press_id == 2:
            raise ValueError("no such shot")
        return works(self, press_id)

    monkeypatch.setattr(Pipeline, "evaluate_one", fails_with_the_second)
    with pytest.raises(RingtellError, match="1 of 2 presses failed: press 2: ValueError: no such shot"):
        rebuild.run(live_here, begun, workers=2)
    with live_here.store.read() as connection:
        assert [intake.pending(connection, press_id) > 0 for press_id in (1, 2)] == [False, True]


def test_a_schedulers_workers_give_the_same_bits(postgresql_url: str) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    store = Store(postgresql_url)
    watched_press(store, "P1", SHOTS)
    alone = Pipeline(store, Hub(), now_ms=now_ms, child_process=False)
    alone.evaluate_all()
    alone.close()
    before = results(store)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, protocol="tcp"
    ) as cluster:
        many = Pipeline(store, Hub(), now_ms=now_ms, child_process=True, scheduler=cluster.scheduler_address)
        rebuild.run(many, begin(store), workers=2)
        many.close()
    assert results(store) == before
    store.close()


def test_a_scheduler_cannot_read_an_sqlite_file(store: Store) -> None:
    with pytest.raises(UsageError, match="move the plant to PostgreSQL"):
        Elsewhere(store, "tcp://scheduler.example:8786")


def test_the_command_shows_how_far_it_is(
    live_here: Pipeline, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = results(live_here.store)
    monkeypatch.setenv("RINGTELL_DATABASE_URL", live_here.store.url)
    assert main(["evaluate", "--rebuild", "--workers", "2"]) == 0
    said = capsys.readouterr()
    assert f"{PRESSES} presses evaluated again" in said.out
    assert "100%" in said.err
    assert results(live_here.store) == before
    assert main(["evaluate", "--rebuild", "--workers", "-1"]) == 2
