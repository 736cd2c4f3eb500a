"""Killed in the middle: of ingest, of evaluation, of a migration, of telling people about alarms.

Each round kills the server (SIGKILL, children included) at a moment chance picks, starts it again and
looks. A few rounds run in the test command; `-m campaign` runs a hundred of each kind.
"""

import contextlib
import os
import random
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from server.care import check
from server.store.database import Store
from server.store.engine import head_revision, upgrade
from tests.faults.births import Born, Nursery, run_to_end
from tests.faults.plant import Key, Plant, Press, wait_for
from tests.faults.rebuilt import assert_equals_a_rebuild
from tests.faults.receiver import Receiver
from tests.store.pouring import only_columns, pour_rows, rows_of

#: A machine with little time may be given fewer: FAULT_ROUNDS=30 pytest -m campaign …
FEW, MANY = 4, int(os.environ.get("FAULT_ROUNDS", "100"))
SEED = 20_260_401

rounds = pytest.mark.parametrize(
    "rounds", [FEW, pytest.param(MANY, marks=pytest.mark.campaign)], ids=["few", "campaign"]
)
Plants = Callable[..., Plant]


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201  # figures of the campaign


@contextlib.contextmanager
def sending(plant: Plant, presses: list[Press], *, batch: int) -> Iterator[list[list[dict[str, Any]]]]:
    """Gateways that send on until they are told to stop; what was not answered is left in the list."""
    stop = threading.Event()
    unanswered: list[list[dict[str, Any]]] = []

    def gateway(press: Press) -> None:
        sender = plant.sender(timeout_s=10)
        while not stop.is_set():
            shots = press.shots(batch)
            answer = sender.send(shots)
            if answer is None or answer.status_code != 200:
                unanswered.append(shots)
                return

    threads = [threading.Thread(target=gateway, args=(press,)) for press in presses]
    for thread in threads:
        thread.start()
    try:
        yield unanswered
    finally:
        stop.set()
        for thread in threads:
            thread.join(30)


@rounds
def test_killed_while_shots_come_in(plants: Plants, rounds: int) -> None:
    rng = random.Random(SEED)
    plant = plants()
    presses = [Press(f"P{i:02}", shots=400_000, seed=i, cycle_s=2.0) for i in range(4)]
    resent = 0
    for _ in range(rounds):
        plant.served.start()
        with sending(plant, presses, batch=rng.choice((1, 5, 40))) as unanswered:
            # Now and then before the first answer, mostly amid many.
            if rng.random() < 0.8:
                _wait_for_an_answer(plant)
            time.sleep(rng.uniform(0.0, 0.3))
            plant.served.kill()
        plant.check_ledger()
        plant.served.start()
        again = plant.sender()
        for shots in unanswered:
            again.send_until_answered(shots)
        resent += len(unanswered)
        plant.check_ledger()
        plant.served.kill()
    plant.served.start()
    known = [press.code for press in presses if any(key[0] == press.code for key in plant.ledger.sent)]
    plant.wait_until_evaluated(*known, within_s=120)
    assert plant.served.stop() == 0
    assert plant.ledger.acknowledged == set(plant.stored())
    assert_equals_a_rebuild(plant)
    count = len(plant.ledger.acknowledged)
    say(f"\n{rounds} kills: {count:,} shots acknowledged, {resent} batches sent again")


def _wait_for_an_answer(plant: Plant) -> None:
    known = len(plant.ledger.acknowledged)
    wait_for(lambda: len(plant.ledger.acknowledged) > known, what="an answer")


@rounds
def test_killed_while_evaluating(plants: Plants, rounds: int) -> None:
    rng = random.Random(SEED + 1)
    plant = plants()
    plant.served.start()
    press = Press("P01", shots=200_000, seed=9, cycle_s=5.0)
    sender = plant.sender()
    first = press.shots(400)
    sender.send_until_answered(first)
    made = plant.act(
        "POST", "/presses/P01/baselines", {"mold": "M-1", "last_shots": 300, "approve": True, "note": "start"}
    )
    assert made.status_code in (200, 201), made.text
    plant.wait_until_evaluated("P01")
    for number in range(rounds):
        sender.send_until_answered(press.shots(60))
        # Something recorded late has the whole history computed again.
        noted = plant.act(
            "POST", "/presses/P01/events",
            {"kind": "setting", "at": first[350]["at"], "setting": "speed", "note": f"{number}"},
        )  # fmt: skip
        assert noted.status_code in (200, 201), noted.text
        time.sleep(rng.uniform(0.0, 0.25))
        plant.served.kill()
        plant.check_ledger()
        plant.served.start()
        sender = plant.sender()
    plant.wait_until_evaluated("P01", within_s=120)
    assert plant.served.stop() == 0
    with contextlib.closing(sqlite3.connect(plant.file)) as database:
        (events,) = database.execute("SELECT count(*) FROM events WHERE kind = 'setting'").fetchone()
    assert events == rounds
    assert_equals_a_rebuild(plant)
    say(f"\n{rounds} kills: {len(plant.stored()):,} shots, {events} late events, equal to a rebuild")


@rounds
def test_killed_while_migrating(nursery: Nursery, tmp_path: Path, rounds: int) -> None:
    rng = random.Random(SEED + 2)
    old = tmp_path / "old.db"
    upgrade(f"sqlite:///{old}", "first_schema")
    pour_rows(f"sqlite:///{old}", rows=60)
    before = rows_of(f"sqlite:///{old}")
    began = time.monotonic()
    takes = _migrate(nursery, tmp_path, old, "whole", None)
    assert takes is True
    length = time.monotonic() - began
    cut = 0
    for number in range(rounds):
        folder = tmp_path / f"round-{number}"
        cut += not _migrate(nursery, folder, old, "plant", rng.uniform(0.0, length))
        url = f"sqlite:///{folder / 'plant.db'}"
        settings = {"RINGTELL_DATABASE_URL": url}
        assert run_to_end(nursery, ("db", "upgrade"), folder=folder, settings=settings) == 0
        after = rows_of(url)
        for name, rows in before.items():
            assert only_columns(after[name], {column for column, _ in rows[0]}) == rows, name
        store = Store(url)
        with store.read() as connection:
            revision = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar_one()
        store.close()
        assert revision == head_revision()
        shutil.rmtree(folder)
    assert cut > 0
    say(f"\n{rounds} rounds, {cut} of them cut short within {length:.2f} s; every row there after the next")


def _migrate(nursery: Nursery, folder: Path, old: Path, name: str, kill_after: float | None) -> bool:
    """True when the migration was done before it was killed."""
    folder.mkdir(exist_ok=True)
    file = folder / f"{name}.db"
    shutil.copyfile(old, file)
    one = Born(nursery, folder=folder, settings={"RINGTELL_DATABASE_URL": f"sqlite:///{file}"})
    one.run("db", "upgrade")
    if kill_after is None:
        return one.wait() == 0
    time.sleep(kill_after)
    one.kill()
    with contextlib.closing(sqlite3.connect(file)) as database:
        (revision,) = database.execute("SELECT version_num FROM alembic_version").fetchone()
    return bool(revision == head_revision())


@rounds
def test_killed_while_alarms_open_are_answered_and_leave(plants: Plants, rounds: int) -> None:
    rng = random.Random(SEED + 3)
    with Receiver() as receiver:
        plant = plants(
            settings={"RINGTELL_WEBHOOK_HOSTS": "127.0.0.1", "RINGTELL_WEBHOOK_SECRET": "secret-of-the-test"},
            # A claim is given up after minutes, the outbox looked at every two seconds: too slow here.
            tune={"server.notify.delivery:CLAIM_LOST_MS": 300, "server.notify.delivery:ROUND_EVERY_S": 0.05},
        )
        plant.served.start()
        route = {"outlet": "webhook", "recipient": receiver.url, "level": 0, "after_min": 0, "active": True}
        made = plant.act("POST", "/routes", route)
        assert made.status_code in (200, 201), made.text
        answered: dict[str, str] = {}
        opened = 0
        for number in range(rounds):
            opened += _bottom(plant, Press(f"B{number:03}", shots=60, seed=number), answered, rng)
            plant.served.kill()
            plant.check_ledger()
            plant.served.start()
            _finish(plant, f"B{number:03}", answered)
        _check_told(plant, receiver, answered, rounds)
        assert plant.served.stop() == 0
    say(f"\n{rounds} kills: {rounds} alarms, {len(answered)} answered, {receiver.count} messages received")


def _bottom(plant: Plant, press: Press, answered: dict[str, str], rng: random.Random) -> int:
    """Shots whose screw bottoms out: an alarm opens, is told and perhaps answered, until the kill."""
    shots = press.shots(12)
    for shot in shots[6:]:
        shot["cushion_mm"] = 0.0
    plant.sender().send_until_answered(shots)
    until = time.monotonic() + rng.uniform(0.0, 0.4)
    while time.monotonic() < until:
        for alarm in plant.ask("/api/v1/alarms")["items"]:
            if alarm["press"] == press.code and alarm["id"] not in answered:
                answer = {"note": (note := f"seen {alarm['id']}"), "reason": "seen"}
                told = plant.act("POST", f"/alarms/{alarm['id']}/acknowledge", answer)
                if told.status_code == 200:
                    answered[alarm["id"]] = note
        time.sleep(0.02)
    return 1


def _finish(plant: Plant, code: str, answered: dict[str, str]) -> None:
    """After the start: the alarm is there, once, and an answer that was confirmed still holds."""
    plant.wait_until_evaluated(code)
    wait_for(
        lambda: any(one["press"] == code for one in plant.ask("/api/v1/alarms?limit=1000")["items"]),
        what=f"the alarm of {code}",
    )
    for alarm in plant.ask("/api/v1/alarms?limit=1000")["items"]:
        if alarm["id"] in answered:
            assert alarm["note"] == answered[alarm["id"]]
            assert alarm["state"] not in ("unacknowledged", "returned_unacknowledged"), alarm


def _check_told(plant: Plant, receiver: Receiver, answered: dict[str, str], rounds: int) -> None:
    def waiting() -> int:
        with contextlib.closing(sqlite3.connect(f"file:{plant.file}?mode=ro", uri=True)) as database:
            query = "SELECT count(*) FROM outbox WHERE outlet = 'webhook' AND delivered_ms IS NULL"
            return int(database.execute(query).fetchone()[0])

    wait_for(lambda: waiting() == 0, what="every message delivered")
    alarms = plant.ask("/api/v1/alarms?limit=1000&state=all")["items"]
    bottomed = [one for one in alarms if one["kind"] == "bottoming"]
    assert len({one["press"] for one in bottomed}) == len(bottomed) == rounds
    assert {one["id"] for one in bottomed} >= set(answered)
    told = receiver.alarms()
    assert told >= {one["id"] for one in bottomed}, "an alarm nobody was told of"
    keys: set[Key] = set(plant.stored())
    assert plant.ledger.acknowledged <= keys


def test_the_rebuild_would_notice(plants: Plants) -> None:
    """The comparison the rounds end with is shown to see one row that differs."""
    plant = plants()
    plant.served.start()
    plant.sender().send_until_answered(Press("P01", shots=60, seed=1).shots(40))
    plant.wait_until_evaluated("P01")
    assert plant.served.stop() == 0
    assert_equals_a_rebuild(plant)
    with contextlib.closing(sqlite3.connect(plant.file)) as database:
        database.execute("UPDATE rollups SET high = high + 1 WHERE grain = 600 AND signal = 'cushion_mm'")
        database.commit()
    with pytest.raises(AssertionError):
        assert_equals_a_rebuild(plant)
    store = Store(plant.url)
    assert check(store).faults
    store.close()
