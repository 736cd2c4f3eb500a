"""Sources report themselves, are shown, and are taken off the list."""

import datetime as dt
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import httpx
import pytest

from server.access.keys import create_key
from server.app import Objects, build_app, build_objects
from server.collect.forward import ForwardCounts
from server.collect.source import SourceState
from server.collect.spool import Spool
from server.settings import Settings
from tests.access.plant import Caller

NOW_MS = 1_800_000_000_000


class Client:
    """Requests without the network."""

    def __init__(self, call: Caller) -> None:
        self._call = call

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self._call("GET", path, **more)

    def put(self, path: str, **more: Any) -> httpx.Response:
        return self._call("PUT", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self._call("POST", path, **more)

    def delete(self, path: str, **more: Any) -> httpx.Response:
        return self._call("DELETE", path, **more)


class Plant:
    """A server whose clock stands where the test puts it."""

    def __init__(self, url: str, *, no_login: bool) -> None:
        self.now_ms = NOW_MS
        settings = Settings(database_url=url, child_process=False, no_login=no_login)
        self.objects: Objects = build_objects(settings, now_ms=lambda: self.now_ms)
        self.client = Client(Caller(build_app(self.objects, run_pipeline=False)))

    def close(self) -> None:
        self.objects.pipeline.close()
        self.objects.store.close()

    def key(self, *, press: str = "", scopes: tuple[str, ...] = ("ingest",)) -> dict[str, str]:
        made = self.objects.store.write(
            lambda c: create_key(c, press=press, scopes=scopes, name=f"key {press}", by="test", now_ms=NOW_MS)
        )
        return {"Authorization": f"Bearer {made.token}"}


@pytest.fixture
def plant(sqlite_url: str) -> Iterator[Plant]:
    made = Plant(sqlite_url, no_login=True)
    yield made
    made.close()


@pytest.fixture
def locked(sqlite_url: str) -> Iterator[Plant]:
    made = Plant(sqlite_url, no_login=False)
    yield made
    made.close()


def report(*presses: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"kind": "opcua", "address": "opc.tcp://press7.example:4840", "presses": list(presses), **more}


def press(code: str = "P07", **more: Any) -> dict[str, Any]:
    return {"press": code, "connected": True, "shots": 12, "shots_last_hour": 12, **more}


def test_a_report_is_kept_in_place_of_the_one_before(plant: Plant) -> None:
    assert plant.client.put("/api/v1/sources/cell 2", json=report(press())).status_code == 200
    plant.now_ms += 15_000
    assert plant.client.put("/api/v1/sources/cell 2", json=report(press(lost=3))).status_code == 200
    (source,) = plant.client.get("/api/v1/sources").json()["items"]
    assert source["name"] == "cell 2"
    assert source["presses"][0]["lost"] == 3
    at = dt.datetime.fromisoformat(source["reported_at"])
    assert round(at.timestamp() * 1000) == NOW_MS + 15_000


def test_what_a_collector_writes_is_what_the_server_takes(plant: Plant, spool: Spool) -> None:
    state = SourceState("cell-2", "opcua", address="opc.tcp://press7.example:4840")
    state.shots("P07", count=3, last_ms=NOW_MS, clock_offset_s=1.5)
    state.lost("P07", 2)
    state.apart("P07", "x" * 1000)
    state.not_reported("P07", {"zone_temps_c": "not reported"})
    state.facts("P07", {"serial": "SN-1"})
    state.trouble("y" * 1000)
    counts = ForwardCounts(stored=3, trouble="z" * 1000)
    counts.reasons.append("because")
    answer = plant.client.put("/api/v1/sources/cell-2", json=state.document(spool.state(), counts))
    assert answer.status_code == 200, answer.text
    page = plant.client.get("/sources").text
    assert "cell-2" in page
    assert "barrel temperatures" in page


@pytest.mark.parametrize(
    ("name", "document"),
    [
        ("a", None), ("a", []), ("a", {}), ("a", {"kind": 5}), ("a", {"kind": "opcua", "presses": [{}]}),
        ("a", {"kind": "opcua", "presses": [{"press": "P07", "lost": -1}]}),
        ("a", {"kind": "opcua", "presses": [{"press": "P07", "last_shot_at": "yesterday"}]}),
        ("a", {"kind": "opcua", "colour": "red"}), ("a", {"kind": "x" * 21}), (" a", {"kind": "opcua"}),
        ("x" * 81, {"kind": "opcua"}), ("a\x01", {"kind": "opcua"}),
    ],
)  # fmt: skip
def test_a_report_that_is_none_is_refused_by_field(plant: Plant, name: str, document: Any) -> None:
    answer = plant.client.put(f"/api/v1/sources/{quote(name)}", json=document)
    assert answer.status_code == 422
    assert answer.json()["field"] in ("report", "name")


def test_the_first_sentence_says_whether_all_is_well(plant: Plant) -> None:
    assert "Nothing brings shots yet." in plant.client.get("/sources").text
    plant.client.put("/api/v1/sources/cell-2", json=report(press()))
    assert "The source is well." in plant.client.get("/sources").text
    away = press(connected=False, trouble="no answer in time")
    plant.client.put("/api/v1/sources/cell-2", json=report(press("P01"), away))
    assert "cell-2: one of two presses not well." in plant.client.get("/sources").text
    plant.client.put("/api/v1/sources/cell-2", json=report(press()))
    plant.now_ms += 20 * 60_000
    assert "cell-2: has said nothing for 20 min." in plant.client.get("/sources").text


def test_shots_that_wait_and_rows_kept_apart_are_shown(plant: Plant) -> None:
    spool = {"waiting": 412, "apart": 1, "most": 500, "refused": 7, "oldest_at": "2027-01-15T07:00:00Z"}
    one = {"press": "P07", "at": "2027-01-15T07:00:00Z", "code": "no_json", "reason": "no JSON"}
    apart = [{**one, "raw": "{ <b>"}]
    plant.client.put("/api/v1/sources/hall-1", json=report(press(), spool=spool, apart=apart))
    page = plant.client.get("/sources").text
    assert "412 shots wait on its disk" in page
    assert "7 refused because it was full" in page
    assert "{ &lt;b&gt;" in page


def test_a_press_that_sends_by_itself_is_shown_too(plant: Plant) -> None:
    shot = {"counter": 1, "at": "2027-01-15T07:59:30Z", "shot_size_mm": 62.4, "cushion_mm": 6.1}
    assert plant.client.post("/api/v1/shots", json={"press": "P30", "shots": [shot]}).json()["stored"] == 1
    page = plant.client.get("/sources").text
    assert "One press sends by itself, no collector reports." in page
    assert "P30" in page


def test_a_source_that_is_gone_is_taken_off_the_list(plant: Plant) -> None:
    plant.client.put("/api/v1/sources/old", json=report())
    assert plant.client.delete("/api/v1/sources/old").status_code == 200
    assert plant.client.get("/api/v1/sources").json()["items"] == []
    assert plant.client.delete("/api/v1/sources/old").status_code == 404


def test_a_key_reports_for_its_own_press_alone(locked: Plant) -> None:
    seventh, eighth = locked.key(press="P07"), locked.key(press="P08")
    put = locked.client.put
    assert put("/api/v1/sources/s7", json=report(press("P07")), headers=seventh).status_code == 200
    assert put("/api/v1/sources/s7", json=report(press("P08")), headers=seventh).status_code == 403
    assert put("/api/v1/sources/s7", json=report(press("P08")), headers=eighth).status_code == 403
    assert put("/api/v1/sources/s9", json=report()).status_code == 401
    reader = locked.key(scopes=("read",))
    assert put("/api/v1/sources/s9", json=report(), headers=reader).status_code == 403
    assert locked.client.get("/api/v1/sources", headers=reader).status_code == 200
    assert locked.client.delete("/api/v1/sources/s7", headers=reader).status_code == 403
