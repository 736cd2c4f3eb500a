"""The first day: a press reports, the server is killed in the middle, the worn valve is noticed and answered.

Everything happens from outside: own process, files and HTTP, a browser. Nothing of the server is called.
"""

import csv
import datetime as dt
import itertools
import json
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Page, expect

from tests.chromium import chromium
from tests.processes import Served, run_command

SHOTS = 2_400
#: Rows sent as one CSV file; the rest comes as JSON batches, as a press's gateway would send them.
IN_FILE = 1_000
BATCH = 40
#: What a page may take on a machine that is busy with other things, in ms.
PATIENCE = 20_000
TEXTS = ("press", "mold", "at", "counter")

Key = tuple[str, int]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


@pytest.fixture
def settings(folder: Path) -> dict[str, str]:
    return {"RINGTELL_DATABASE_URL": f"sqlite:///{folder / 'plant.db'}"}


@pytest.fixture
def served(folder: Path, settings: dict[str, str]) -> Iterator[Served]:
    server = Served("serve", folder=folder, settings=settings)
    yield server
    server.kill()


def shots_of_a_wearing_valve(folder: Path) -> list[dict[str, str]]:
    """Rows of the simulated press, the last one a minute ago, so that the press counts as reporting."""
    start = dt.datetime.now(dt.UTC) - dt.timedelta(seconds=31 * SHOTS)
    run_command(
        "simulate", "shots.csv", "--shots", str(SHOTS), "--story", "steady_leak", "--seed", "7",
        "--press", "P07", "--mold", "M-113", "--start", start.strftime("%Y-%m-%dT%H:%M:%SZ"),
        folder=folder, settings={},
    )  # fmt: skip
    with (folder / "shots.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def as_csv(rows: list[dict[str, str]]) -> str:
    return "\n".join([",".join(rows[0]), *(",".join(row.values()) for row in rows)]) + "\n"


def as_batch(rows: list[dict[str, str]]) -> str:
    shots = [
        {
            "at": row["at"],
            "counter": int(row["counter"]),
            **{name: float(value) for name, value in row.items() if name not in TEXTS and value},
        }
        for row in rows
    ]
    return json.dumps({"press": "P07", "mold": "M-113", "shots": shots})


def keys_of(rows: list[dict[str, str]]) -> set[Key]:
    return {(row["at"], int(row["counter"])) for row in rows}


class Sender:
    """A gateway: sends batches one after another and notes which were answered."""

    def __init__(self, served: Served, key: str, batches: list[list[dict[str, str]]]) -> None:
        self._served = served
        self._headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
        self.waiting = list(batches)
        self.acknowledged: list[list[dict[str, str]]] = []
        self.progress = threading.Condition()

    def send_until_cut_off(self) -> None:
        """Send until all is sent or nobody answers."""
        with httpx.Client(base_url=self._served.address, headers=self._headers, timeout=20) as client:
            while self.waiting:
                try:
                    answer = client.post("/api/v1/shots", content=as_batch(self.waiting[0]))
                except httpx.TransportError:
                    return
                assert answer.status_code == 200, answer.text
                assert answer.json()["rejected"] == []
                with self.progress:
                    self.acknowledged.append(self.waiting.pop(0))
                    self.progress.notify_all()

    def wait_for(self, batches: int) -> None:
        with self.progress:
            assert self.progress.wait_for(lambda: len(self.acknowledged) >= batches, timeout=60)


class Engineer:
    """Somebody with a key that may read and act."""

    def __init__(self, served: Served, key: str) -> None:
        self.client = httpx.Client(
            base_url=served.address, headers={"Authorization": f"Bearer {key}"}, timeout=20
        )

    def ask(self, method: str, path: str, **more: Any) -> Any:
        answer = self.client.request(method, f"/api/v1{path}", **more)
        assert answer.is_success, f"{method} {path}: {answer.status_code} {answer.text}"
        return answer.json()

    def stored(self) -> set[Key]:
        """Every shot of the press, page by page."""
        keys: set[Key] = set()
        cursor = None
        for _ in itertools.count():
            given = {"limit": "700", **({"cursor": cursor} if cursor else {})}
            page = self.ask("GET", "/presses/P07/shots", params=given)
            keys |= {(one["at"], one["counter"]) for one in page["items"]}
            cursor = page["next_cursor"]
            if cursor is None:
                return keys
        raise AssertionError("the pages have no end")

    def wait_until_evaluated(self) -> dict[str, Any]:
        until = time.monotonic() + 60
        while time.monotonic() < until:
            press: dict[str, Any] = self.ask("GET", "/presses/P07")
            if press["pending_shots"] == 0:
                return press
            time.sleep(0.1)
        raise AssertionError("shots still wait for evaluation after 60 s")


def make_key(folder: Path, settings: dict[str, str], *scopes: str) -> str:
    wanted = [part for scope in scopes for part in ("--scope", scope)]
    return run_command("key", "create", *wanted, folder=folder, settings=settings).strip()


@pytest.mark.browser
def test_a_wearing_valve_is_noticed_though_the_server_was_killed(
    served: Served, folder: Path, settings: dict[str, str]
) -> None:
    rows = shots_of_a_wearing_valve(folder)
    welcome = json.loads(
        run_command("user", "add", "mara", "--role", "line_lead", folder=folder, settings=settings)
    )
    device_key = make_key(folder, settings, "ingest")
    engineer_key = make_key(folder, settings, "read", "act")
    served.start()
    engineer = Engineer(served, engineer_key)
    engineer.ask("PUT", "/presses/P07", json={"screw_diameter_mm": 50.0})

    # The morning: one CSV file, and its shots become the startup record.
    answer = httpx.post(
        f"{served.address}/api/v1/shots",
        content=as_csv(rows[:IN_FILE]),
        headers={"Authorization": f"Bearer {device_key}", "Content-Type": "text/csv"},
        timeout=20,
    )
    # A real log repeats a record now and then; so does the simulated one.
    first = keys_of(rows[:IN_FILE])
    answered = answer.json()
    assert (answered["received"], answered["rejected"], answered["conflict"]) == (IN_FILE, [], 0)
    assert (answered["stored"], answered["duplicate"]) == (len(first), IN_FILE - len(first))
    engineer.ask(
        "POST",
        "/presses/P07/baselines",
        json={"mold": "M-113", "last_shots": 800, "approve": True, "note": "startup"},
    )

    # The day: batches, until the power fails in the middle of one.
    rest = rows[IN_FILE:]
    sender = Sender(served, device_key, [rest[i : i + BATCH] for i in range(0, len(rest), BATCH)])
    with ThreadPoolExecutor(1) as pool:
        sending = pool.submit(sender.send_until_cut_off)
        sender.wait_for(len(sender.waiting) // 3)
        served.kill()
        sending.result(60)
    assert sender.waiting, "the server was killed after everything had been sent"

    # Every answered shot is there again; what was not answered is sent once more.
    served.start()
    acknowledged = first.union(*(keys_of(batch) for batch in sender.acknowledged))
    assert acknowledged <= engineer.stored()
    sender.send_until_cut_off()
    assert sender.waiting == []
    assert engineer.stored() == keys_of(rows)

    # The wear is found, scored and alarmed.
    press = engineer.wait_until_evaluated()
    assert press["evaluated_through"] == rows[-1]["at"]
    findings = engineer.ask("GET", "/presses/P07/findings", params={"limit": 10_000})["items"]
    assert "swept_mm" in {one["signal"] for one in findings}
    leak = engineer.ask("GET", "/presses/P07/leak")
    assert leak["status"] == "ok"
    assert leak["likelihood"] > 0.7
    assert [(one["press"], one["kind"]) for one in engineer.ask("GET", "/alarms")["items"]] == [
        ("P07", "leak")
    ]

    # The line lead sees it on the page and answers with one tap.
    with chromium() as browser:
        page = browser.new_page()
        sign_in(page, served, welcome["one_time_password"])
        answer_the_alarm(page)
        browser.close()
    alarm = engineer.ask("GET", "/alarms")["items"][0]
    assert (alarm["state"], alarm["acknowledged_by"]) == ("acknowledged", "mara")
    engineer.client.close()
    # A graceful end hands the signal on after everything is closed: nothing is left beside the database.
    assert served.stop() in (0, -signal.SIGTERM)
    assert sorted(file.name for file in folder.glob("plant.db*")) == ["plant.db", "plant.db.audit-key"]


def sign_in(page: Page, served: Served, one_time_password: str) -> None:
    """The first login: the password that was given out is changed for one's own."""
    page.goto(f"{served.address}/alarms")
    expect(page).to_have_url(f"{served.address}/login?next=/alarms", timeout=PATIENCE)
    page.get_by_label("Name").fill("mara")
    page.get_by_label("Password", exact=True).fill(one_time_password)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_label("One-time password").fill(one_time_password)
    page.get_by_label("New password").fill("only ever three moulds")
    page.get_by_role("button", name="Keep").click()
    expect(page).to_have_url(f"{served.address}/alarms", timeout=PATIENCE)


def answer_the_alarm(page: Page) -> None:
    card = page.locator("article.alarm")
    expect(card).to_have_count(1, timeout=PATIENCE)
    expect(card.get_by_role("heading")).to_contain_text("P07", timeout=PATIENCE)
    page.locator('[data-answer][data-reason="going"]').click()
    expect(card).to_have_count(0, timeout=PATIENCE)
    expect(page.locator(".quiet-alarms li")).to_contain_text("mara", timeout=PATIENCE)
