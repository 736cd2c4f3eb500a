"""Shots and trends over HTTP: paged, thinned, as tables."""

import csv
import io
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow.parquet
import pytest

from server.access.actors import OPEN
from server.clock import as_text
from server.contract import SHOT_COLUMNS
from server.store.database import Store
from server.store.plant import need_press, put_press
from tests.contract.reading_plant import ALL, AT, CYCLE, MOLD, NOW, START, Plant, build, evaluate, fill


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


@pytest.mark.parametrize(("points", "raw_max"), [(2, 20_000), (7, 20_000), (3, 100), (30, 100), (1000, 100)])
def test_a_trend_says_where_most_shots_lay(
    plant: Plant, monkeypatch: pytest.MonkeyPatch, points: int, raw_max: int
) -> None:
    """From shots and from summaries alike, the hour and the day that are not over included."""
    shots = plant.pages(f"{AT}/shots?signals=swept_mm", 1000)
    monkeypatch.setattr("server.routes.reading_trend.RAW_MAX", raw_max)
    trend = plant.get(f"{AT}/trend?signal=swept_mm&points={points}")
    ends = [*trend["at"][1:], "9"]
    for place, (begin, end) in enumerate(zip(trend["at"], ends, strict=True)):
        mine = [one["swept_mm"] for one in shots if begin <= one["at"] < end]
        wanted = np.quantile(mine, (0.05, 0.5, 0.95))
        found = [trend[name][place] for name in ("p05", "median", "p95")]
        assert found == pytest.approx(wanted, abs=(max(mine) - min(mine)) / 63 + 1e-6)
        assert trend["min"][place] <= found[0] <= found[1] <= found[2] <= trend["max"][place]


def test_an_empty_stretch_is_an_empty_trend(plant: Plant) -> None:
    trend = plant.get(f"{AT}/trend?signal=cushion_mm&to=2020-01-01T00:00:00Z")
    assert (trend["at"], trend["mean"], trend["findings"]) == ([], [], [])
    assert plant.get("/presses/P-new/trend")["limits"] is None
