"""How far a press's record can be trusted, over the API and on its page."""

import json

import pytest

from server.clock import as_text
from tests.imports.plant import NOW_MS, Plant, plant_at

pytestmark = pytest.mark.anyio
DAY = 86_400_000


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


def shot(counter: int, at_ms: int, **more: object) -> dict[str, object]:
    strokes = {"shot_size_mm": 80 + counter * 7 % 5 / 100, "cushion_mm": 6 + counter * 3 % 11 / 100}
    return {"at": as_text(at_ms), "counter": counter, **strokes, **more}


async def send(plant: Plant, shots: list[dict[str, object]], press: str = "P07") -> None:
    body = json.dumps({"press": press, "mold": "M-1", "shots": shots})
    answer = await plant.client.post(
        "/api/v1/shots", content=body, headers={"Content-Type": "application/json"}
    )
    assert answer.json()["rejected"] == []


async def test_missing_shots_show_as_their_day_and_as_a_concern(any_url: str) -> None:
    async with plant_at(any_url) as plant:
        start = NOW_MS - 2 * DAY
        await send(plant, [shot(i, start + i * 20_000) for i in range(200) if not 50 <= i < 80])
        found = await plant.call("GET", "/presses/P07/data-quality")
        assert [(day["stored"], day["expected"]) for day in found["days"]] == [(170, 200)]
        assert found["completeness"] == pytest.approx(0.85)
        assert found["gaps"][0]["missing"] == 30
        (concern,) = [one for one in found["concerns"] if one["code"] == "incomplete"]
        assert concern["text"].startswith("30 of 200 shots are missing")
        assert concern["way_out"]


async def test_a_press_that_works_raises_no_concern(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        await send(plant, [shot(i, NOW_MS - (300 - i) * 20_000) for i in range(300)])
        found = await plant.call("GET", "/presses/P07/data-quality")
        assert found["concerns"] == []
        assert found["completeness"] == 1.0


async def test_the_clock_is_compared_by_live_shots_alone(any_url: str) -> None:
    async with plant_at(any_url) as plant:
        await send(plant, [shot(1, NOW_MS - 3 * DAY)])
        found = await plant.call("GET", "/presses/P07/data-quality")
        assert found["clock"] is None
        assert "no shot has come live" in found["clock_reason"]
        await send(plant, [shot(2, NOW_MS + 30_000)])
        await send(plant, [shot(3, NOW_MS + 5_000)])
        found = await plant.call("GET", "/presses/P07/data-quality")
        assert found["clock"]["offset_ms"] == -30_000
        assert "clock_ahead" in {one["code"] for one in found["concerns"]}


async def test_a_stuck_sensor_and_a_wrong_unit_are_named_with_the_way_out(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        shots = [
            shot(i, NOW_MS - (400 - i) * 20_000, cushion_mm=0.24 + i % 7 / 1000,
                 peak_pressure_bar=1000.0 + (i % 9 if i < 300 else 0))
            for i in range(400)
        ]  # fmt: skip
        await send(plant, shots)
        found = await plant.call("GET", "/presses/P07/data-quality")
        concerns = {one["code"]: one for one in found["concerns"]}
        assert concerns["stuck"]["field"] == "peak_pressure_bar"
        assert concerns["unit"]["field"] == "cushion_mm"
        assert "may mean in" in concerns["unit"]["text"]


async def test_a_second_press_under_the_same_name_is_noticed(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        both = [
            shot(i + (90_000 if odd else 0), NOW_MS - (100 - i) * 20_000 + odd * 7_000)
            for i in range(100)
            for odd in (0, 1)
        ]
        await send(plant, both)
        found = await plant.call("GET", "/presses/P07/data-quality")
        assert found["concerns"][0]["code"] == "two_counters"


async def test_days_are_the_plants_own(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        await plant.call("PUT", "/settings", json={"time_zone": "Pacific/Auckland"})
        await send(plant, [shot(1, NOW_MS - DAY)])
        found = await plant.call("GET", "/presses/P07/data-quality?days=3")
        assert found["days"][0]["day"] == "2026-11-18"  # 17 November, 19:06 UTC
        for days in (0, 91):
            answer = await plant.client.get(f"/api/v1/presses/P07/data-quality?days={days}")
            assert answer.status_code == 422
        assert (await plant.client.get("/api/v1/presses/P99/data-quality")).status_code == 404


async def test_the_page_says_it_and_lets_the_dose_lag_be_set(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        await send(plant, [shot(i, NOW_MS - (300 - i) * 20_000) for i in range(300) if i % 10])
        page = (await plant.client.get("/presses/P07/data-quality")).text
        assert "shots are missing" in page
        assert "swept stroke scatters" in page
        assert 'data-method="PUT"' in page
        await plant.call("PUT", "/presses/P07", json={"dose_lag": 1})
        page = (await plant.client.get("/presses/P07/data-quality")).text
        assert "Set to 1 by the plant." in page
        assert (await plant.client.get("/presses/P99/data-quality")).status_code == 404
        assert "/presses/P07/data-quality" in (await plant.client.get("/presses/P07")).text


async def test_what_is_set_may_stand_still(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        steady = {"hold_time_s": 4.0, "melt_temp_c": 230.0}
        await send(plant, [shot(i, NOW_MS - (300 - i) * 20_000, **steady) for i in range(300)])
        found = await plant.call("GET", "/presses/P07/data-quality")
        assert [(one["code"], one["field"]) for one in found["concerns"]] == [("constant", "melt_temp_c")]
