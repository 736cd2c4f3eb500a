"""A server in a process of its own, presses that send to it, and the count of what it answered for."""

import dataclasses
import datetime as dt
import itertools
import json
import random
import sqlite3
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import httpx

from tests.faults.births import Born, Nursery
from tests.processes import TLS, Served

Key = tuple[str, str, int]

#: A machine busy with other things takes its time.
PATIENCE_S = 60.0


def moment(at: dt.datetime) -> str:
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


class Press:
    """Makes shots of one press, one every `cycle_s` up to now; the same seed makes the same values."""

    def __init__(self, code: str, *, shots: int, seed: int, cycle_s: float = 20.0) -> None:
        self.code = code
        self._rng = random.Random(seed)
        self._counter = itertools.count(1)
        self._cycle_s = cycle_s
        self._at = now() - dt.timedelta(seconds=cycle_s * shots + 60)

    def shots(self, count: int) -> list[dict[str, Any]]:
        return [self._shot() for _ in range(count)]

    def _shot(self) -> dict[str, Any]:
        self._at += dt.timedelta(seconds=self._cycle_s)
        return {
            "press": self.code,
            "mold": "M-1",
            "counter": next(self._counter),
            "at": moment(self._at),
            "shot_size_mm": round(80 + self._rng.gauss(0, 0.03), 2),
            "cushion_mm": round(6 + self._rng.gauss(0, 0.05), 2),
            "peak_pressure_bar": round(1000 + self._rng.gauss(0, 4)),
            "fill_time_s": 1.4,
        }


def key_of(shot: Mapping[str, Any]) -> Key:
    return (shot["press"], shot["at"], int(shot["counter"]))


@dataclasses.dataclass
class Ledger:
    """What the server answered for. A shot sent without an answer may be stored or not."""

    acknowledged: set[Key] = dataclasses.field(default_factory=set)
    sent: set[Key] = dataclasses.field(default_factory=set)
    refused: int = 0


class Sender:
    """A gateway that sends one batch after another and sends again what was not answered."""

    def __init__(self, address: str, ledger: Ledger, *, timeout_s: float = 30.0) -> None:
        self.client = httpx.Client(base_url=address, timeout=timeout_s, trust_env=False, verify=TLS)
        self.ledger = ledger

    def send(self, shots: list[dict[str, Any]]) -> httpx.Response | None:
        """One request; None when nobody answered."""
        self.ledger.sent |= {key_of(shot) for shot in shots}
        lines = "\n".join(json.dumps(shot) for shot in shots)
        try:
            answer = self.client.post(
                "/api/v1/shots", content=lines, headers={"Content-Type": "application/x-ndjson"}
            )
        except httpx.TransportError:
            return None
        if answer.status_code == 200:
            told = answer.json()
            assert told["rejected"] == [], told
            assert told["stored"] + told["duplicate"] == len(shots), told
            self.ledger.acknowledged |= {key_of(shot) for shot in shots}
        else:
            self.ledger.refused += 1
        return answer

    def send_until_answered(self, shots: list[dict[str, Any]], *, within_s: float = PATIENCE_S) -> None:
        """As a gateway does it: the same again until it is stored."""
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            answer = self.send(shots)
            if answer is not None and answer.status_code == 200:
                return
            if answer is not None:
                assert answer.status_code in (429, 503, 507), answer.text
                assert int(answer.headers["Retry-After"]) >= 1
            time.sleep(0.05)
        raise AssertionError(f"not stored within {within_s} s")


class Plant:
    """A folder with a database, and the server over it."""

    def __init__(
        self, folder: Path, *, settings: Mapping[str, str] | None = None, data: Path | None = None,
        url: str | None = None, nursery: Nursery | None = None, clock: Path | None = None,
        tune: Mapping[str, Any] | None = None,
    ) -> None:  # fmt: skip
        self.folder = folder
        self.file = (data or folder) / "plant.db"
        self.url = url or f"sqlite:///{self.file}"
        self.settings = {
            "RINGTELL_DATABASE_URL": self.url,
            "RINGTELL_NO_LOGIN": "1",
            "RINGTELL_ACCEPT_UNKNOWN": "1",
            **(settings or {}),
        }
        self.served: Served | Born = (
            Served("serve", folder=folder, settings=self.settings)
            if nursery is None
            else Born(nursery, folder=folder, settings=self.settings, clock=clock, tune=tune)
        )
        self.ledger = Ledger()
        self._senders: list[Sender] = []

    def end(self) -> None:
        """Nothing of the test goes on."""
        for sender in self._senders:
            sender.client.close()
        self.served.kill()

    @property
    def address(self) -> str:
        return self.served.address

    def sender(self, *, timeout_s: float = 30.0) -> Sender:
        self._senders.append(Sender(self.address, self.ledger, timeout_s=timeout_s))
        return self._senders[-1]

    def ask(self, path: str, **more: Any) -> Any:
        answer = httpx.get(f"{self.address}{path}", timeout=30, trust_env=False, verify=TLS, **more)
        assert answer.is_success, f"{path}: {answer.status_code} {answer.text}"
        return answer.json()

    def act(self, method: str, path: str, body: Any) -> httpx.Response:
        return httpx.request(
            method, f"{self.address}/api/v1{path}", json=body, timeout=30, trust_env=False, verify=TLS,
            headers={"X-Ringtell": "1"},
        )  # fmt: skip

    def wait_until_evaluated(self, *presses: str, within_s: float = PATIENCE_S) -> None:
        wait_for(
            lambda: all(self.ask(f"/api/v1/presses/{one}")["pending_shots"] == 0 for one in presses),
            within_s=within_s,
            what=f"{presses} evaluated",
        )

    def ready(self) -> bool:
        try:
            answer = httpx.get(f"{self.address}/readyz", timeout=5, trust_env=False, verify=TLS)
            return answer.status_code == 200
        except httpx.TransportError:
            return False

    def stored(self) -> list[Key]:
        """Every shot in the file, read past the server; SQLite only."""
        with sqlite3.connect(f"file:{self.file}?mode=ro", uri=True) as database:
            rows = database.execute(
                "SELECT press, at_ms, counter FROM shots JOIN presses USING (press_id)"
            ).fetchall()
        database.close()
        return [(press, moment(of_ms(at_ms)), counter) for press, at_ms, counter in rows]

    def check_ledger(self) -> None:
        """Every acknowledged shot is there exactly once, and nothing that nobody sent."""
        stored = self.stored()
        there = set(stored)
        assert len(stored) == len(there)
        lost = self.ledger.acknowledged - there
        assert not lost, f"{len(lost)} acknowledged shots are gone, such as {sorted(lost)[:3]}"
        assert there <= self.ledger.sent


def of_ms(at_ms: int) -> dt.datetime:
    return dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(milliseconds=at_ms)


def wait_for(true: Callable[[], bool], *, within_s: float = PATIENCE_S, what: str) -> None:
    until = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < until, f"not within {within_s} s: {what}"
        threading.Event().wait(0.05)
