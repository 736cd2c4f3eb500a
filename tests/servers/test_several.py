"""Two `ringtell serve` on one PostgreSQL: pages of each hear of both, a killed one's press is taken over."""

import functools
import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest
import sqlalchemy as sa

from server.clock import now_ms
from server.notify.hub import Hub
from server.pipeline import Pipeline
from server.store import intake
from server.store.database import Store
from server.store.tables import findings, press_states, rollups, scores, shots
from tests.benchmarks.history import watched_press
from tests.processes import Served

#: More than one server has in hand at once.
PRESSES = 8
SHOTS = 8_000


@pytest.fixture
def two(postgresql_url: str, tmp_path: Path) -> Iterator[tuple[Served, Served]]:
    """Two servers, not started yet."""
    settings = {
        "RINGTELL_DATABASE_URL": postgresql_url,
        "RINGTELL_NO_LOGIN": "1",
        "RINGTELL_ACCEPT_UNKNOWN": "1",
        "RINGTELL_AUDIT_KEY": "0123456789abcdef0123456789abcdef",
    }
    made = []
    for name in ("one", "other"):
        (tmp_path / name).mkdir()
        made.append(Served("serve", folder=tmp_path / name, settings=settings))
    yield made[0], made[1]
    for served in made:
        served.kill()


class Page(threading.Thread):
    """An open page: every event of a server's stream."""

    def __init__(self, address: str) -> None:
        super().__init__(daemon=True)
        self.events: list[tuple[str, str]] = []
        self.open = threading.Event()
        self._address = address

    def run(self) -> None:
        kind = ""
        try:
            with httpx.stream("GET", f"{self._address}/api/v1/stream", timeout=60) as answer:
                self.open.set()
                for line in answer.iter_lines():
                    if line.startswith("event: "):
                        kind = line[7:]
                    elif line.startswith("data: "):
                        self.events.append((kind, json.loads(line[6:])["id"]))
        except httpx.HTTPError:  # the server was killed
            return

    def wait_for(self, event: tuple[str, str], *, seconds: float = 30.0) -> None:
        until = time.monotonic() + seconds
        while event not in self.events:
            assert time.monotonic() < until, f"{event} never came, only {self.events[:20]}"
            time.sleep(0.02)


def some_shots(press: str, count: int) -> dict[str, Any]:
    begin = now_ms() - count * 20_000
    made = [
        {"counter": n + 1, "at_ms": begin + n * 20_000, "shot_size_mm": 80.0, "cushion_mm": 6.0}
        for n in range(count)
    ]
    for one in made:
        at = one.pop("at_ms")
        one["at"] = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at / 1000))  # type: ignore[assignment]  # text
    return {"press": press, "mold": "M-1", "shots": made}


def wait_until(asked: Any, *, seconds: float = 60.0) -> None:
    until = time.monotonic() + seconds
    while not asked():
        assert time.monotonic() < until, "it never came to that"
        time.sleep(0.02)


def results(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    left_out = {"last_arrival_ms", "alarms_seen_ms"}
    found = {}
    with store.read() as connection:
        for table in (findings, scores, rollups, press_states):
            columns = [column for column in table.c if column.name not in left_out]
            rows = connection.execute(sa.select(*columns).order_by(*columns[:5]))
            found[table.name] = [tuple(row) for row in rows]
    return found


def test_pages_of_every_server_hear_what_comes_to_any(two: tuple[Served, Served]) -> None:
    one, other = two
    one.start()
    other.start()
    page = Page(other.address)
    page.start()
    assert page.open.wait(20)
    sent = httpx.post(f"{one.address}/api/v1/shots", json=some_shots("P01", 5), timeout=20)
    assert sent.status_code == 200, sent.text
    # Whichever evaluated it: the page hears it once it can be read.
    page.wait_for(("shots", "P01"))
    summary = httpx.get(f"{other.address}/api/v1/presses/P01", timeout=20).json()
    assert summary["pending_shots"] == 0
    assert one.stop() == 0
    assert other.stop() == 0


def test_a_killed_servers_press_is_taken_over_and_nothing_shows(
    two: tuple[Served, Served], postgresql_url: str
) -> None:
    one, other = two
    store = Store(postgresql_url)
    press_ids = [watched_press(store, f"K{number}", SHOTS) for number in range(PRESSES)]
    one.start()
    with psycopg.connect(postgresql_url, autocommit=True) as looking:

        def works() -> bool:
            row = looking.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE state = 'idle in transaction'"
                " AND position('press_turns' in query) > 0 AND application_name = %s",
                (f"ringtell {one.pid}",),
            ).fetchone()
            return row is not None and row[0] > 0

        wait_until(works)
        one.kill()
        began = time.monotonic()
        other.start()

        def done() -> bool:
            row = looking.execute("SELECT count(*) FROM intake").fetchone()
            return row == (0,)

        assert not done(), "the first server had finished before it was killed"
        wait_until(done, seconds=120)
        print(f"taken over and finished within {time.monotonic() - began:.1f} s")  # noqa: T201  # a figure to read
    assert other.stop() == 0
    shared = results(store)
    with store.read() as connection:
        counts = connection.execute(sa.select(sa.func.count()).select_from(shots)).scalar_one()
    assert counts == PRESSES * SHOTS
    assert len({row[0] for row in shared["scores"]}) == PRESSES
    _rebuild(store, press_ids)
    assert results(store) == shared
    store.close()


def _rebuild(store: Store, press_ids: list[int]) -> None:
    alone = Pipeline(store, Hub(), now_ms=now_ms, child_process=False)
    for press_id in press_ids:
        store.write(
            functools.partial(
                intake.add, press_id=press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms()
            )
        )
    alone.evaluate_all()
    alone.close()


def test_two_servers_share_the_presses(two: tuple[Served, Served], postgresql_url: str) -> None:
    """Both evaluate at the same time, and no press is ever in two hands."""
    store = Store(postgresql_url)
    one, other = two
    one.start()
    other.start()
    watched = [watched_press(store, f"S{number}", SHOTS) for number in range(PRESSES)]
    both = {f"ringtell {served.pid}" for served in two}
    hands: set[str] = set()

    def again(connection: sa.Connection) -> None:
        for press_id in watched:
            intake.add(connection, press_id, earliest_ms=0, shots=0, reason=intake.REBUILD, now_ms=now_ms())

    with psycopg.connect(postgresql_url, autocommit=True) as looking:

        def nothing_waits() -> bool:
            return looking.execute("SELECT count(*) FROM intake").fetchone() == (0,)

        def both_were_at_it() -> bool:
            rows = looking.execute(
                "SELECT application_name FROM pg_stat_activity WHERE state LIKE 'idle in tr%'"
                " AND query LIKE '%press_turns%'"
            ).fetchall()
            hands.update(row[0] for row in rows)
            # On a busy machine one may have done it all before the other looked: there is more to do then.
            if not both <= hands and nothing_waits():
                store.write(again)
            return both <= hands

        wait_until(both_were_at_it, seconds=120)
        wait_until(nothing_waits, seconds=120)
    store.close()
