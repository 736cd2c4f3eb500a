"""The reading calls over HTTP, on a small plant whose cushion thins after its baseline."""

import asyncio
import csv
import dataclasses
import io
import itertools
import json
import math
import random
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import httpx
import pyarrow.parquet
import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from starlette.types import ASGIApp, Receive, Scope, Send

from server.access.actors import NOBODY, OPEN, Actor
from server.clock import as_text
from server.contract import LEAK_CAUSES, SHOT_COLUMNS
from server.evaluate.press import evaluate_press
from server.record.baselines import capture_baseline
from server.routes import problems, reading
from server.settings import Settings
from server.store import evaluation, intake
from server.store.database import Store
from server.store.plant import Setup, keep_setup, need_press, put_mold, put_press, setup_digest
from server.store.quarantine import Apart, keep_apart
from server.store.records import Event, add_event
from server.store.shots import note_arrival, store_shots

PRESS, MOLD = "Q 01 ä+b", "M-1"
AT = "/presses/" + quote(PRESS, safe="")
START, CYCLE = 1_775_023_200_000, 20_000  # 2026-04-01T06:00Z
NOW = START + 6 * 3_600_000
GOOD, ALL = 400, 900
#: The shot from which on the cushion thins.
ONSET = 500


@dataclasses.dataclass
class Objects:
    """What the reading routes take from the application."""

    store: Store
    settings: Settings
    at_ms: int = NOW

    def now_ms(self) -> int:
        return self.at_ms


class As:
    """Lets every request be one actor's."""

    def __init__(self, app: ASGIApp, plant: "Plant") -> None:
        self.app, self.plant = app, plant

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        scope.setdefault("state", {})["actor"] = self.plant.actor
        await self.app(scope, receive, send)


class Plant:
    """An application of the reading routes alone."""

    def __init__(self, store: Store) -> None:
        self.objects, self.actor = Objects(store, Settings()), OPEN
        app = FastAPI()
        app.include_router(reading.router)
        problems.install(app)
        app.state.ringtell = self.objects
        self.app = As(app, self)

    def ask(self, path: str, accept: str = "application/json") -> httpx.Response:
        async def send() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://plant.example") as client:
                return await client.get("/api/v1" + path, headers={"Accept": accept})

        return asyncio.run(send())

    def get(self, path: str) -> Any:
        answer = self.ask(path)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def pages(self, path: str, limit: int) -> list[Any]:
        items, cursor = [], ""
        while True:
            body = self.get(f"{path}{'&' if '?' in path else '?'}limit={limit}{cursor}")
            assert len(body["items"]) <= limit
            items += body["items"]
            if body["next_cursor"] is None:
                return items
            cursor = f"&cursor={quote(body['next_cursor'], safe='')}"


def shot(setup_id: int, i: int, random_: random.Random) -> tuple[Any, ...]:
    size = 80 + random_.gauss(0, 0.04)
    spread, low = (0.05, 0.0) if i < ONSET else (0.12, 1.5)
    values: dict[str, Any] = {
        "shot_size_mm": round(size, 2),
        "cushion_mm": round(max(0.0, size - 74 - low + random_.gauss(0, spread)), 2),
        "peak_pressure_bar": round(1000 + random_.gauss(0, 4)),
        "fill_time_s": round(1.4 + random_.gauss(0, 0.005), 3),
        "recovery_time_s": round(6 + random_.gauss(0, 0.05), 2),
        "cycle_time_s": 20.0,
        "part_weight_g": round(41.8 + random_.gauss(0, 0.05), 2),
        "lot": "=L1" if i < 600 else "L2",
        "box": f"B{i // 100}",
        "serial": f"S{i:04d}" if i % 2 else None,
        "zone_temps_c": "[220.0, 225.5]" if i == 0 else None,
    }
    at = START + i * CYCLE
    return (at, i, setup_id, *(values.get(name) for name in SHOT_COLUMNS))


def fill(c: sa.Connection, press: str, count: int) -> int:
    put_press(c, press, {"screw_diameter_mm": 45.0}, now_ms=START)
    press_id = need_press(c, press).press_id
    setup_id = setup_digest(MOLD, "PP-DEMO", "", "{}")
    keep_setup(c, Setup(press_id, setup_id, MOLD, "PP-DEMO", "", "{}", START))
    dice = random.Random(1)
    store_shots(c, press_id, [shot(setup_id, i, dice) for i in range(count)])
    last = START + (count - 1) * CYCLE
    note_arrival(c, press_id, last_shot_ms=last, last_counter=count - 1, now_ms=last)
    intake.add(c, press_id, earliest_ms=START, shots=count, reason="shots", now_ms=last)
    return press_id


def evaluate(store: Store, press_id: int) -> None:
    while True:
        with store.read() as c:
            found = evaluate_press(c, press_id)
        if found is None:
            return
        landing = found
        store.write(lambda c, landing=landing: evaluation.apply(c, landing, now_ms=NOW))  # type: ignore[misc]


def build(store: Store, *, baseline: bool = True) -> None:
    def first(c: sa.Connection) -> int:
        limits = {"part_weight_g": {"lower": 41.2, "upper": 42.4, "target": 41.8}}
        put_mold(c, MOLD, {"part": "lid", "cavities": 2, "limits": json.dumps(limits)}, now_ms=START)
        put_mold(c, "M-2", {"part": "cup"}, now_ms=START)
        put_press(c, "P-new", {}, now_ms=START)
        fill(c, "P-bare", 20)
        press_id = fill(c, PRESS, ALL)
        for k in range(3):
            at = START + k * 60_000
            add_event(c, Event(press_id, at, 0, "note", "", "", "", "", f"n{k}", "open", at))
        rows = [
            Apart("P-who", "unknown_press", "press", "unknown_press", "not accepted", f"{k}")
            for k in range(3)
        ]
        keep_apart(c, rows, now_ms=NOW)
        if baseline:
            body = {
                "mold": MOLD,
                "from": as_text(START),
                "to": as_text(START + GOOD * CYCLE),
                "approve": True,
            }
            capture_baseline(c, need_press(c, PRESS), body, who="open", now_ms=NOW)
        return press_id

    press_id = store.write(first)
    evaluate(store, press_id)
    with store.read() as c:
        bare = need_press(c, "P-bare").press_id
    evaluate(store, bare)


@pytest.fixture(scope="module")
def plant(_migrated_file: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    file = tmp_path_factory.mktemp("reading") / "plant.db"
    file.write_bytes(_migrated_file.read_bytes())
    store = Store(f"sqlite:///{file}")
    build(store)
    yield Plant(store)
    store.close()


@pytest.fixture(autouse=True)
def _usual(plant: Plant) -> Iterator[None]:
    yield
    plant.actor, plant.objects.at_ms = OPEN, NOW


# --- presses ------------------------------------------------------------------------------------


def test_the_list_says_how_each_press_stands(plant: Plant) -> None:
    items = plant.pages("/presses", 2)
    assert [one["press"] for one in items] == ["P-bare", "P-new", PRESS]
    bare, new, leaking = items
    assert (new["press_status"], new["last_shot_at"], new["leak_likelihood"]) == ("no_shots", None, None)
    assert (bare["leak_status"], bare["leading_cause"]) == ("no_baseline", None)
    assert leaking["mold"] == MOLD
    assert leaking["leak_status"] == "ok"
    assert leaking["leak_likelihood"] > 0.5
    assert leaking["leading_cause"] in LEAK_CAUSES
    assert leaking["open_alarms"] == 0
    assert leaking["last_shot_at"] == as_text(START + (ALL - 1) * CYCLE)


def test_a_press_that_sends_is_running_and_falls_silent(plant: Plant) -> None:
    last = START + (ALL - 1) * CYCLE
    plant.objects.at_ms = last + 60_000
    assert plant.get(AT)["press_status"] == "running"
    plant.objects.at_ms = last + 3_600_000
    assert plant.get(AT)["press_status"] == "silent"


def test_a_press_shows_configuration_baseline_and_what_waits(plant: Plant) -> None:
    body = plant.get(AT)
    assert (body["press"], body["screw_diameter_mm"], body["valve_style"]) == (PRESS, 45.0, "sliding_ring")
    assert body["pending_shots"] == 0
    assert body["evaluated_through"] == as_text(START + (ALL - 1) * CYCLE)
    assert body["baseline"]["id"] == 1
    assert body["setup"]["mold"] == MOLD
    assert body["valve"] is None
    assert plant.get("/presses/P-new")["evaluated_through"] is None


def test_a_press_with_intake_has_pending_shots(store: Store) -> None:
    store.write(lambda c: fill(c, "P1", 30))
    assert Plant(store).get("/presses/P1")["pending_shots"] == 30


# --- shots --------------------------------------------------------------------------------------


@pytest.mark.parametrize("limit", [100, 101, 450, 900, 10_000])
def test_paging_gives_every_shot_once_in_order(plant: Plant, limit: int) -> None:
    counters = [one["counter"] for one in plant.pages(f"{AT}/shots?signals=cushion_mm", limit)]
    assert counters == list(range(ALL))


def test_from_is_inclusive_and_to_exclusive(plant: Plant) -> None:
    from_text, to_text = as_text(START + 10 * CYCLE), as_text(START + 13 * CYCLE)
    items = plant.get(f"{AT}/shots?from={from_text}&to={to_text}")["items"]
    assert [one["counter"] for one in items] == [10, 11, 12]


def test_an_offset_is_taken_with_its_plus_encoded_or_not(plant: Plant) -> None:
    for plus in ("%2B", "+"):
        items = plant.get(f"{AT}/shots?from=2026-04-01T08:03:20{plus}02:00&limit=1")["items"]
        assert items[0]["counter"] == 10


def test_a_row_carries_labels_values_and_null_for_what_is_missing(plant: Plant) -> None:
    first, second = plant.get(f"{AT}/shots?limit=2")["items"]
    assert (first["mold"], first["material"], first["at"]) == (MOLD, "PP-DEMO", as_text(START))
    assert first["zone_temps_c"] == [220.0, 225.5]
    assert first["drift_mm"] is None
    assert second["zone_temps_c"] is None
    assert set(SHOT_COLUMNS) < set(first)


def test_derived_signals_stand_beside_stored_ones(plant: Plant) -> None:
    items = plant.get(
        f"{AT}/shots?signals=swept_mm,recovery_s_per_mm,shot_size_mm,cushion_mm,recovery_time_s"
    )
    for one in items["items"]:
        swept = one["shot_size_mm"] - one["cushion_mm"]
        assert one["swept_mm"] == pytest.approx(swept, abs=1e-9)
        assert one["recovery_s_per_mm"] == pytest.approx(one["recovery_time_s"] / swept)


def test_the_dose_of_a_page_before_is_used_at_a_lag_of_one(store: Store) -> None:
    store.write(lambda c: fill(c, "P1", 40))
    store.write(lambda c: put_press(c, "P1", {"dose_lag": 1}, now_ms=NOW))
    with store.read() as c:
        press_id = need_press(c, "P1").press_id
    evaluate(store, press_id)
    plant = Plant(store)
    whole = plant.get("/presses/P1/shots?signals=swept_mm,shot_size_mm,cushion_mm")["items"]
    assert whole[0]["swept_mm"] is None
    assert whole[20]["swept_mm"] == pytest.approx(whole[19]["shot_size_mm"] - whole[20]["cushion_mm"])
    assert plant.pages("/presses/P1/shots?signals=swept_mm,shot_size_mm,cushion_mm", 7) == whole
    trend = plant.get(f"/presses/P1/trend?signal=swept_mm&from={as_text(START + 20 * CYCLE)}")
    assert trend["mean"] == [one["swept_mm"] for one in whole[20:]]


def test_csv_holds_the_same_and_no_cell_runs(plant: Plant) -> None:
    answer = plant.ask(f"{AT}/shots?signals=cushion_mm,lot,part_weight_g&limit=700", "text/csv")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    items = plant.get(f"{AT}/shots?signals=cushion_mm,lot&limit=700")["items"]
    assert [float(one["cushion_mm"]) for one in rows] == [one["cushion_mm"] for one in items]
    assert (rows[0]["lot"], rows[-1]["lot"], items[0]["lot"]) == ("'=L1", "L2", "=L1")
    following = answer.headers["link"].split(">")[0].removeprefix("</api/v1")
    rest = list(csv.DictReader(io.StringIO(plant.ask(following, "text/csv").text)))
    assert [int(one["counter"]) for one in rest] == list(range(700, 900))


def test_parquet_holds_the_same_with_types(plant: Plant) -> None:
    answer = plant.ask(f"{AT}/shots?limit=900", "application/vnd.apache.parquet")
    table = pyarrow.parquet.read_table(io.BytesIO(answer.content))
    items = plant.get(f"{AT}/shots?limit=900")["items"]
    assert table.column("cushion_mm").to_pylist() == [one["cushion_mm"] for one in items]
    assert str(table.schema.field("at").type) == "timestamp[ms, tz=UTC]"
    assert table.column("lot")[0].as_py() == "=L1"
    assert table.column("drift_mm").null_count == ALL


# --- trend --------------------------------------------------------------------------------------


def test_a_trend_of_few_shots_is_the_shots(plant: Plant) -> None:
    trend = plant.get(f"{AT}/trend?signal=cushion_mm&points=1000")
    values = [one["cushion_mm"] for one in plant.pages(f"{AT}/shots?signals=cushion_mm", 1000)]
    assert trend["mean"] == trend["min"] == trend["max"] == values
    assert trend["limits"]["baseline_no"] == 1
    assert trend["limits"]["lower"] < trend["limits"]["center"] < trend["limits"]["upper"]
    assert trend["findings"]
    assert {one["signal"] for one in trend["findings"]} == {"cushion_mm"}


@pytest.mark.parametrize("points", [2, 7, 200])
def test_thinning_keeps_extremes_and_every_shot(plant: Plant, points: int) -> None:
    trend = plant.get(f"{AT}/trend?signal=swept_mm&points={points}")
    values = [one["swept_mm"] for one in plant.pages(f"{AT}/shots?signals=swept_mm", 1000)]
    assert len(trend["at"]) <= points
    assert (min(trend["min"]), max(trend["max"])) == (min(values), max(values))
    assert sum(trend["n"]) == ALL
    total = sum(n * mean for n, mean in zip(trend["n"], trend["mean"], strict=True))
    assert total / ALL == pytest.approx(sum(values) / ALL)


@pytest.mark.parametrize("points", [3, 30, 1000])
def test_summaries_keep_extremes_too(plant: Plant, monkeypatch: pytest.MonkeyPatch, points: int) -> None:
    values = [one["swept_mm"] for one in plant.pages(f"{AT}/shots?signals=swept_mm", 1000)]
    monkeypatch.setattr("server.routes.reading_trend.RAW_MAX", 100)
    trend = plant.get(f"{AT}/trend?signal=swept_mm&points={points}")
    assert trend["grain_s"] in (600, 3600, 86400)
    assert len(trend["at"]) <= points
    assert (min(trend["min"]), max(trend["max"])) == (min(values), max(values))
    assert sum(trend["n"]) == ALL
    total = sum(n * mean for n, mean in zip(trend["n"], trend["mean"], strict=True))
    assert total / ALL == pytest.approx(sum(values) / ALL)


def test_an_empty_stretch_is_an_empty_trend(plant: Plant) -> None:
    trend = plant.get(f"{AT}/trend?signal=cushion_mm&to=2020-01-01T00:00:00Z")
    assert (trend["at"], trend["mean"], trend["findings"]) == ([], [], [])
    assert plant.get("/presses/P-new/trend")["limits"] is None


# --- leak ---------------------------------------------------------------------------------------


def test_evidence_sums_to_the_log_odds_and_causes_to_one(plant: Plant) -> None:
    body = plant.get(f"{AT}/leak")
    assert body["status"] == "ok"
    assert sum(one["log_odds"] for one in body["evidence"]) == pytest.approx(body["log_odds"], abs=1e-9)
    assert body["evidence"][0]["signal"] == "prior"
    assert body["evidence"][0]["log_odds"] == body["prior_log_odds"]
    assert all(one["text"] for one in body["evidence"])
    assert body["likelihood"] == pytest.approx(1 / (1 + math.exp(-body["log_odds"])), abs=1e-12)
    assert sum(body["causes"].values()) == pytest.approx(1, abs=1e-9)
    assert sum(body["causes"][one] for one in LEAK_CAUSES) == pytest.approx(body["likelihood"], abs=1e-9)
    assert "transfer_pressure_bar" in body["missing"]
    assert "swept_mm" not in body["missing"]
    assert body["model_version"]


def test_the_onset_holds_the_shot_at_which_it_began(plant: Plant) -> None:
    onset = plant.get(f"{AT}/leak")["onset"]
    true = as_text(START + ONSET * CYCLE)
    assert onset["from"] <= true <= onset["to"]
    assert onset["from"] <= onset["at"] <= onset["to"]


@pytest.mark.parametrize("grain", ["server.routes.reading_state.RAW_SHOTS", None])
def test_the_onset_is_the_same_from_summaries(
    plant: Plant, monkeypatch: pytest.MonkeyPatch, grain: str | None
) -> None:
    if grain:
        monkeypatch.setattr(grain, 100)
    onset = plant.get(f"{AT}/leak")["onset"]
    true = as_text(START + ONSET * CYCLE)
    assert onset["from"] <= true <= onset["to"]


def test_a_press_that_went_silent_is_stale_and_keeps_its_likelihood(plant: Plant) -> None:
    before = plant.get(f"{AT}/leak")
    plant.objects.at_ms = START + (ALL - 1) * CYCLE + 24 * 3_600_000 + 1
    body = plant.get(f"{AT}/leak")
    assert body["status"] == "stale"
    assert body["likelihood"] == before["likelihood"]
    assert plant.get("/presses")["items"][2]["leak_status"] == "stale"


def test_without_a_baseline_there_is_no_likelihood(plant: Plant) -> None:
    body = plant.get("/presses/P-bare/leak")
    assert (body["likelihood"], body["status"], body["missing"]) == (None, "no_baseline", ["baseline"])
    assert (body["causes"], body["evidence"], body["onset"]) == ({}, [], None)
    assert plant.get("/presses/P-new/leak")["status"] == "no_baseline"


def test_history_ends_where_the_press_stands(plant: Plant) -> None:
    whole = plant.get(f"{AT}/leak/history?limit=10000")["items"]
    assert plant.pages(f"{AT}/leak/history", 3) == whole
    assert [one["at"] for one in whole] == sorted(one["at"] for one in whole)
    for one in whole:
        assert one["prior_log_odds"] + sum(one["terms"].values()) == pytest.approx(one["log_odds"])
        assert sum(one["causes"].values()) == pytest.approx(1)
    later = as_text(START + ONSET * CYCLE)
    assert plant.get(f"{AT}/leak/history?from={later}&limit=10000")["items"] == [
        one for one in whole if one["at"] >= later
    ]


# --- findings, events, containment ----------------------------------------------------------------


def test_findings_come_newest_first_and_page_without_gaps(plant: Plant) -> None:
    whole = plant.get(f"{AT}/findings?limit=10000")["items"]
    assert len(whole) > 5
    assert plant.pages(f"{AT}/findings", 2) == whole
    assert [one["from"] for one in whole] == sorted((one["from"] for one in whole), reverse=True)
    cut = as_text(START + ONSET * CYCLE)
    assert plant.get(f"{AT}/findings?from={cut}&limit=10000")["items"] == [
        one for one in whole if one["to"] >= cut
    ]


def test_events_page_in_order(plant: Plant) -> None:
    assert [one["note"] for one in plant.pages(f"{AT}/events", 1)] == ["n0", "n1", "n2"]


def test_containment_since_a_time_names_everything(plant: Plant) -> None:
    body = plant.get(f"{AT}/containment?since={as_text(START + 590 * CYCLE)}")
    assert (body["basis"], body["shots"]) == ("since", 310)
    assert (body["lots"], body["molds"]) == (["=L1", "L2"], [MOLD])
    assert body["boxes"] == ["B5", "B6", "B7", "B8"]
    assert (body["serial_count"], body["serials"][0], len(body["serials"])) == (155, "S0591", 155)
    assert (body["first_at"], body["last_at"]) == (as_text(START + 590 * CYCLE), as_text(START + 899 * CYCLE))
    assert body["shifts"] == [{"name": "early", "from": as_text(START)}]


def test_containment_starts_at_the_early_end_of_the_onset(plant: Plant) -> None:
    body = plant.get(f"{AT}/containment")
    assert body["basis"] == "onset"
    assert body["since"] == body["onset"]["from"]
    assert body["shots"] >= ALL - ONSET
    nothing = plant.get("/presses/P-bare/containment")
    assert (nothing["basis"], nothing["shots"], nothing["boxes"]) == ("none", 0, [])


def test_serials_beyond_a_thousand_are_counted(store: Store) -> None:
    store.write(lambda c: fill(c, "P1", 2_400))
    body = Plant(store).get(f"/presses/P1/containment?since={as_text(START)}")
    assert (body["serial_count"], len(body["serials"]), body["serials"][-1]) == (1_200, 1_000, "S1999")


# --- molds and rows kept apart --------------------------------------------------------------------


def test_molds_with_their_presses(plant: Plant) -> None:
    items = plant.pages("/molds", 1)
    assert [one["mold"] for one in items] == [MOLD, "M-2"]
    assert items[0]["presses"] == ["P-bare", PRESS]
    assert plant.get(f"/molds/{MOLD}") == items[0]
    assert items[0]["limits"]["part_weight_g"]["target"] == 41.8


def test_capability_follows_the_definitions(plant: Plant) -> None:
    body = plant.get(f"/molds/{MOLD}/capability?signal=part_weight_g&press={quote(PRESS, safe='')}")
    (one,) = body["items"]
    x = [r["part_weight_g"] for r in plant.pages(f"{AT}/shots?signals=part_weight_g", 1000)]
    mean = sum(x) / len(x)
    total = math.sqrt(sum((v - mean) ** 2 for v in x) / (len(x) - 1))
    within = sum(abs(b - a) for a, b in itertools.pairwise(x)) / (len(x) - 1) / 1.1283791670955126
    assert (one["n"], one["mean"]) == (ALL, pytest.approx(mean))
    assert one["pp"] == pytest.approx(1.2 / (6 * total))
    assert one["ppk"] == pytest.approx(min(42.4 - mean, mean - 41.2) / (3 * total))
    assert one["cp"] == pytest.approx(1.2 / (6 * within))
    assert one["ppk_interval"][0] < one["ppk"] < one["ppk_interval"][1]
    assert one["stability"]["stable"] is True
    assert one["verdict"] == "capable"
    assert one["percentile"]["ppk"] > 1
    assert one["normality"]["p"] is not None


def test_a_stretch_narrows_the_capability(plant: Plant) -> None:
    to = as_text(START + 100 * CYCLE)
    body = plant.get(f"/molds/{MOLD}/capability?to={to}")
    assert [(one["press"], one["n"]) for one in body["items"]] == [("P-bare", 20), (PRESS, 100)]
    assert body["items"][0]["verdict"] == "too_few_values"


def test_without_limits_no_index_is_made_up(plant: Plant) -> None:
    body = plant.get(f"/molds/{MOLD}/capability?signal=cushion_mm")
    bare, leaking = body["items"]
    assert body["limits"] is None
    assert "ppk" not in leaking
    assert "cp" not in leaking
    assert leaking["verdict"] == "not_consistent"
    assert leaking["consistency"]["shift_sigma"] < -1
    assert leaking["consistency"]["baseline_no"] == 1
    assert (bare["verdict"], bare["consistency"]) == ("no_limits", None)


def test_rows_kept_apart_page(plant: Plant) -> None:
    items = plant.pages("/quarantine?press=P-who", 2)
    assert sorted(one["raw"] for one in items) == ["0", "1", "2"]
    assert plant.get("/quarantine?press=none")["items"] == []
    assert len(plant.pages("/quarantine", 1)) == 3


# --- refusals -------------------------------------------------------------------------------------

PER_PRESS = ("", "/shots", "/trend", "/leak", "/leak/history", "/findings", "/events", "/containment")


@pytest.mark.parametrize("tail", PER_PRESS)
def test_an_unknown_press_is_not_found(plant: Plant, tail: str) -> None:
    answer = plant.ask(f"/presses/none-such{tail}")
    assert (answer.status_code, answer.json()["code"]) == (404, "not_found")
    assert answer.headers["content-type"] == "application/problem+json"
    assert "none-such" in answer.json()["detail"]


def test_an_unknown_mold_is_not_found(plant: Plant) -> None:
    for path in ("/molds/none", "/molds/none/capability"):
        assert plant.ask(path).status_code == 404


WRONG = [
    ("/shots?from=yesterday", "from"),
    ("/shots?to=2026-04-01T06:00:00", "to"),
    ("/shots?from=2026-04-01T06:00:00Z&to=2026-04-01T06:00:00Z", "to"),
    ("/shots?limit=0", "limit"),
    ("/shots?limit=10001", "limit"),
    ("/shots?limit=many", "limit"),
    ("/shots?cursor=x", "cursor"),
    ("/shots?cursor=WyJhIl0", "cursor"),
    ("/shots?cursor=W3RydWUsMV0", "cursor"),
    ("/shots?cursor=%E2%82%AC", "cursor"),
    ("/shots?signals=cushion_mm,nonsense", "signals"),
    ("/shots?signals=,", "signals"),
    ("/trend?signal=nonsense", "signal"),
    ("/trend?points=1", "points"),
    ("/leak/history?cursor=W10", "cursor"),
    ("/findings?signal=nonsense", "signal"),
    ("/containment?since=soon", "since"),
]


@pytest.mark.parametrize(("tail", "field"), WRONG)
def test_a_wrong_value_is_named(plant: Plant, tail: str, field: str) -> None:
    answer = plant.ask(AT + tail)
    assert answer.status_code == 422, answer.text
    body = answer.json()
    assert body["field"] == field
    assert body["code"] == "invalid"
    assert field in body["detail"]


def test_a_press_that_never_ran_the_mold_is_named(plant: Plant) -> None:
    answer = plant.ask(f"/molds/{MOLD}/capability?press=P-new")
    assert (answer.status_code, answer.json()["field"]) == (422, "press")


def key(press: str, scope: str) -> Actor:
    return Actor("key", "", "key", press, frozenset({scope}))


@pytest.mark.parametrize("path", ["/presses", "/molds", f"/molds/{MOLD}", "/quarantine", AT, f"{AT}/shots"])
def test_only_who_may_read_reads(plant: Plant, path: str) -> None:
    plant.actor = NOBODY
    assert plant.ask(path).status_code == 401
    plant.actor = key("", "ingest")
    assert plant.ask(path).status_code == 403
    plant.actor = key("", "read")
    assert plant.ask(path).status_code == 200


def test_a_key_of_one_press_reads_that_press_alone(plant: Plant) -> None:
    plant.actor = key(PRESS, "read")
    assert plant.ask(f"{AT}/leak").status_code == 200
    assert plant.ask("/presses/P-bare/leak").status_code == 403
    assert plant.ask("/presses").status_code == 403
