"""Reports: made once, the same numbers for good or said to have changed, on paper as by the API."""

import asyncio
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import sqlalchemy as sa

from server.app import Objects, build_app, build_objects
from server.clock import now_ms
from server.errors import BusyError, TooLargeError
from server.ingest.batch import ReadBatch
from server.settings import Settings
from server.show.paper import digest_of
from server.store import intake
from server.store.audit import audit_of
from server.store.engine import upgrade
from server.store.plant import need_press
from server.store.tables import shots
from server.typeset import WAITING, CannotSetTypeError, Typesetter, for_drawings, set_type
from tests.at_once import all_at_once
from tests.benchmarks.history import rows_of, watched_press

SHOTS = 1_500


class Plant:
    """A whole server without its network, used by somebody with every permission."""

    def __init__(self, folder: Path) -> None:
        url = f"sqlite:///{folder / 'plant.db'}"
        upgrade(url)
        self.objects: Objects = build_objects(
            Settings(database_url=url, no_login=True, accept_unknown=True, child_process=False)
        )
        watched_press(self.objects.store, "P07", SHOTS)
        self.objects.pipeline.evaluate_all()
        self._app = build_app(self.objects, run_pipeline=False)
        limits = {"limits": {"part_weight_g": {"lower": 41.5, "upper": 42.1}}, "part": "latch cover"}
        self.send("PUT", "/api/v1/molds/M-113", limits)

    def ask(self, method: str, path: str, body: Any = None) -> httpx.Response:
        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self._app)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
                return await client.request(method, path, json=body)

        return asyncio.run(go())

    def send(self, method: str, path: str, body: Any = None) -> Any:
        answer = self.ask(method, path, body)
        assert answer.is_success, answer.text
        return answer.json()

    def made(self, **what: Any) -> Any:
        return self.send("POST", "/api/v1/reports", what)


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    made = Plant(tmp_path_factory.mktemp("reports"))
    yield made
    made.objects.typesetter.close()
    made.objects.pipeline.close()
    made.objects.store.close()


def of_mold(plant: Plant) -> Any:
    return plant.made(kind="capability", subject="M-113", span="last_30_days", note="for the customer")


def words_of(pdf: bytes, folder: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    (folder / "report.pdf").write_bytes(pdf)
    told = subprocess.run(
        ["pdftotext", "-layout", str(folder / "report.pdf"), "-"], capture_output=True, text=True, check=True
    )
    return told.stdout


def printed(plant: Plant, number: int) -> bytes:
    answer = plant.ask("GET", f"/api/v1/reports/{number}/pdf")
    if answer.status_code == 501:
        pytest.skip("Pango is not installed")
    assert answer.headers["content-type"] == "application/pdf", answer.text
    return answer.content


def test_a_rebuild_gives_the_same_hash_and_a_late_shot_is_said(plant: Plant) -> None:
    made = of_mold(plant)
    kept = plant.send("GET", f"/api/v1/reports/{made['number']}")
    assert kept["same"] is True
    assert kept["digest"] == made["digest"] == digest_of(kept["basis"])
    assert kept["basis"]["limits_version"] == 1
    with plant.objects.store.read() as connection:
        press_id = need_press(connection, "P07").press_id
        last = connection.execute(sa.select(sa.func.max(shots.c.at_ms))).scalar_one()
    plant.objects.store.write(
        lambda c: intake.add(c, press_id=press_id, earliest_ms=0, shots=0, reason="rewrite", now_ms=now_ms())
    )
    plant.objects.pipeline.evaluate_all()
    assert plant.send("GET", f"/api/v1/reports/{made['number']}")["same"] is True
    # Limits of another day leave it alone: it names its version.
    newer = {"limits": {"part_weight_g": {"lower": 41.6, "upper": 42.0}}}
    plant.send("PUT", "/api/v1/molds/M-113", newer)
    assert plant.send("GET", f"/api/v1/reports/{made['number']}")["same"] is True
    late = rows_of("P07", 1, start_ms=last - 5_000)[0]._replace(counter=9_000_000)
    plant.objects.pipeline.take_in(ReadBatch(1, [late], []), accept_unknown=True)
    after = plant.send("GET", f"/api/v1/reports/{made['number']}")
    assert after["same"] is False
    n = kept["basis"]["presses"]["P07"]["part_weight_g"]["n"]
    assert f"presses P07 part_weight_g n: {n}, now {n + 1}" in after["changed"]
    # What it was made with stays.
    assert after["basis"] == kept["basis"]
    page = plant.ask("GET", f"/reports/{made['number']}").text
    assert "Its inputs have changed since" in page


def test_the_paper_says_what_the_api_says(plant: Plant, tmp_path: Path) -> None:
    made = of_mold(plant)
    pdf = printed(plant, made["number"])
    words = words_of(pdf, tmp_path)
    span = f"from={made['from']}&to={made['to']}"
    (press,) = plant.send("GET", f"/api/v1/molds/M-113/capability?{span}")["items"]
    low, high = press["ppk_interval"]
    assert re.search(rf"Ppk\s+{press['ppk']:.2f} \({low:.2f} to {high:.2f}\)", words), (words, press)
    assert made["digest"] in words
    assert "page 1 of" in words
    assert "Released: name, date" in words
    assert "for the customer" in words
    assert "Limits" in words
    assert "latch cover" in words
    if shutil.which("pdftoppm"):
        subprocess.run(
            ["pdftoppm", "-r", "40", "-gray", "-png", "-singlefile", str(tmp_path / "report.pdf"),
             str(tmp_path / "sheet")], check=True,
        )  # fmt: skip
        assert (tmp_path / "sheet.png").stat().st_size > 4_000


def test_a_record_a_study_and_the_plant_have_papers(plant: Plant, tmp_path: Path) -> None:
    weights = [41.80, 41.82, 41.79, 41.83, 41.81, 41.80, 41.78, 41.82, 41.81, 41.80]
    body = {"press": "P07", "mold": "M-113", "weights_g": weights}
    number = plant.send("POST", "/api/v1/studies/short-shot", body)["id"]
    record = plant.made(kind="startup_record", subject="P07", number=1)
    check = plant.made(kind="study", subject="P07", number=number)
    health = plant.made(kind="valve_health", span="last_30_days")
    words = words_of(printed(plant, check["number"]), tmp_path)
    assert "Before any work at the press" in words
    words = words_of(printed(plant, record["number"]), tmp_path)
    assert "Relative only" in words
    kept = plant.send("GET", f"/api/v1/reports/{health['number']}")
    assert kept["basis"]["presses"]["P07"]["shots"] >= SHOTS
    for one in (record, check, health):
        assert plant.send("GET", f"/api/v1/reports/{one['number']}")["same"] is True
        assert "The numbers are those it was made with" in plant.ask("GET", f"/reports/{one['number']}").text
    listed = plant.send("GET", "/api/v1/reports?limit=2")
    assert [one["number"] for one in listed["items"]] == [health["number"], check["number"]]
    older = plant.send("GET", f"/api/v1/reports?cursor={listed['next_cursor']}")["items"]
    assert older[0]["number"] == record["number"]
    with plant.objects.store.read() as connection:
        trail = audit_of(connection, need_press(connection, "P07").press_id)
    assert [row.subject for row in trail if row.action == "report_made"] == [
        str(check["number"]), str(record["number"]),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        ({"kind": "weather"}, 422, "kind"),
        ({"kind": "capability"}, 422, "subject"),
        ({"kind": "capability", "subject": "M-113"}, 422, "from"),
        ({"kind": "capability", "subject": "none", "span": "last_month"}, 404, "subject"),
        ({"kind": "case", "subject": "P07"}, 422, "number"),
        ({"kind": "case", "subject": "P07", "number": 77}, 404, "subject"),
        ({"kind": "valve_health", "from": "2026-01-02T00:00:00Z", "to": "2026-01-01T00:00:00Z"}, 422, "to"),
    ],
)
def test_what_cannot_be_made_is_named(plant: Plant, body: Any, status: int, field: str) -> None:
    answer = plant.ask("POST", "/api/v1/reports", body)
    assert (answer.status_code, answer.json().get("field")) == (status, field), answer.text
    assert plant.ask("GET", "/api/v1/reports/999").status_code == 404
    assert plant.ask("GET", "/reports/999").status_code == 404


def test_a_paper_fetches_nothing(tmp_path: Path) -> None:
    """Neither what lies on this machine nor what another one offers, whatever a text points at."""
    secret = tmp_path / "secret.txt"
    secret.write_text("secret words")
    html = f"<p>kept</p><img src='file://{secret}'><link rel=stylesheet href='file://{secret}'>"
    html += f"<object data='file://{secret}'></object><a rel=attachment href='file://{secret}'>x</a>"
    try:
        pdf = set_type(html)
    except CannotSetTypeError as error:
        pytest.skip(str(error))
    assert "secret" not in words_of(pdf, tmp_path)
    assert b"EmbeddedFile" not in pdf


def slow(_html: str) -> bytes:
    time.sleep(30)
    return b""


def test_a_paper_that_takes_too_long_is_ended_and_the_next_is_set() -> None:
    typesetter = Typesetter(slow, longest_s=1.0)
    with pytest.raises(BusyError, match="longer than 1 s"):
        typesetter.pdf("<p>")
    typesetter.close()


def greedy(html: str) -> bytes:
    """Takes as many megabytes as the text has signs, and gives them all back."""
    return b"x" * (len(html) << 20)


def test_a_paper_takes_no_more_memory_than_it_may() -> None:
    typesetter = Typesetter(greedy, memory=256 << 20)
    try:
        assert len(typesetter.pdf("x" * 8)) == 8 << 20
        for signs in (17, 300):  # a PDF of 17 MB; memory beyond the bound
            with pytest.raises(TooLargeError, match="too large to be set"):
                typesetter.pdf("x" * signs)
        with pytest.raises(TooLargeError):
            typesetter.pdf("x" * (3 << 20))
        assert len(typesetter.pdf("x" * 8)) == 8 << 20
    finally:
        typesetter.close()


def test_what_sets_type_ends_by_itself() -> None:
    """Whoever started it may have been killed: no process is left that computes for ever."""
    code = "from server.typeset import _bounded\n_bounded(lambda _: max(iter(int, 1)), '', 0.5, 1 << 30)\n"
    ended = subprocess.run([sys.executable, "-c", code], timeout=60, check=False, capture_output=True)
    assert ended.returncode == -signal.SIGXCPU


def test_few_wait_for_a_paper_and_the_rest_are_told_at_once() -> None:
    typesetter = Typesetter(slow, longest_s=3.0)
    first_ended = threading.Event()

    def tried(_number: int) -> str:
        with pytest.raises(BusyError) as refused:
            typesetter.pdf("<p>")
        if "another report" in refused.value.message:
            return "later" if first_ended.is_set() else "at once"
        first_ended.set()
        return "set"

    came = all_at_once(tried, many=12)
    typesetter.close()
    # Not by the clock: while the first is being set all but those who may wait have their answer.
    assert came["at once"] >= 12 - 1 - WAITING


def test_drawings_carry_their_rules_without_tokens() -> None:
    style = "svg { fill: var(--ink); } @media (max-width: 3px) { .a { b: c } .d { e: f } } .g { h: i }"
    assert for_drawings(style, {"ink": "#111"}) == "svg { fill: #111; }  .g { h: i }"
