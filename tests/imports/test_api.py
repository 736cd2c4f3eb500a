"""An import from upload to undo over the API, on both databases."""

import csv
import io
import threading
import time
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from server import import_jobs, import_run
from server.errors import BusyError
from server.store import imports as kept_imports
from server.store.plant import need_press
from server.store.shots import count_shots, read_columns
from tests.imports.plant import HEADER, NOW_MS, Plant, plant_at, rows, table

pytestmark = pytest.mark.anyio
PRESS = {"defaults": {"press": "P07", "mold": "M-1"}, "time_zone": "Europe/Berlin"}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


def shots_of(plant: Plant, press: str = "P07") -> int:
    with plant.objects.store.read() as connection:
        return count_shots(connection, need_press(connection, press).press_id)


async def stored(plant: Plant, content: bytes, **options: object) -> int:
    """A file brought, looked at and stored with what the look proposes."""
    number = await plant.bring("week.csv", content)
    found = await plant.call("POST", f"/imports/{number}/look", json={**PRESS, **options})
    await plant.call("POST", f"/imports/{number}/start", json=found["options"])
    one = await plant.ended(number)
    assert one["state"] == "done", one
    return number


async def test_a_file_is_looked_at_before_anything_is_stored(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await plant.bring("week.csv", table(rows(200)))
        found = await plant.call("POST", f"/imports/{number}/look", json={})
        assert [one["field"] for one in found["columns"]] == [
            "counter", "at", "shot_size_mm", "cushion_mm", "peak_pressure_bar", "part_weight_g",
        ]  # fmt: skip
        assert {one["code"] for one in found["questions"]} == {"press", "time_zone"}
        assert len(found["shots"]) == 12
        answer = await plant.client.post(f"/api/v1/imports/{number}/start", json=PRESS)
        assert answer.status_code == 422  # no mapping named
        with plant.objects.store.read() as connection:
            assert count_shots(connection) == 0


async def test_an_import_that_could_not_even_begin_says_so(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await plant.bring("week.csv", table(rows(20)))
        found = await plant.call("POST", f"/imports/{number}/look", json=PRESS)
        change = kept_imports.change_import

        def busy(connection: Any, import_no: int, **changes: Any) -> None:
            if changes.get("state") == "running":
                raise BusyError("the database does not answer")
            change(connection, import_no, **changes)

        monkeypatch.setattr(kept_imports, "change_import", busy)
        await plant.call("POST", f"/imports/{number}/start", json=found["options"])
        one = await plant.ended(number)
        assert (one["state"], one["trouble"]) == ("failed", "the database does not answer")


async def test_an_import_stores_in_the_units_and_the_zone_chosen(any_url: str) -> None:
    async with plant_at(any_url) as plant:
        inches = {"Shot size [mm]": "in", "Peak pressure [bar]": "psi"}
        content = table([(1, "2026-07-01 06:00:00", 3.15, 6, 14503.77, 41)])
        number = await stored(plant, content, column_units=inches)
        one = await plant.call("GET", f"/imports/{number}")
        assert (one["received"], one["stored"], one["rejected"], one["share"]) == (1, 1, 0, 1.0)
        assert one["presses"] == [
            {
                "press": "P07",
                "shots": 1,
                "from": "2026-07-01T04:00:00.000Z",
                "to": "2026-07-01T04:00:00.000Z",
            }
        ]
        shots = (await plant.call("GET", "/presses/P07/shots"))["items"]
        assert shots[0]["shot_size_mm"] == pytest.approx(80.01)
        assert shots[0]["peak_pressure_bar"] == pytest.approx(1000.0, rel=1e-5)


async def test_units_are_the_columns_own(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        header = ("Cycle", "Time", "Size", "Cushion (in)")
        mapping = {"Cycle": "counter", "Time": "at", "Size": "shot_size_mm", "Cushion (in)": "cushion_mm"}
        content = table([(1, "2026-07-01 06:00:00", 80, 0.25)], header=header)
        await stored(plant, content, mapping=mapping)
        with plant.objects.store.read() as connection:
            press = need_press(connection, "P07")
            columns = read_columns(connection, press.press_id, names=("shot_size_mm", "cushion_mm"), limit=5)
        assert columns["shot_size_mm"][0] == 80
        assert columns["cushion_mm"][0] == pytest.approx(6.35)


async def test_refused_rows_come_back_with_their_line_and_reason(any_url: str) -> None:
    async with plant_at(any_url) as plant:
        made = rows(30)
        made[4] = (5, "no time", *made[4][2:])
        made[9] = (*made[9][:3], "=cmd()", *made[9][4:])
        number = await stored(plant, table(made))
        answer = await plant.client.get(f"/api/v1/imports/{number}/rejected")
        read = list(csv.DictReader(io.StringIO(answer.text)))
        assert [(row["row"], row["field"], row["code"]) for row in read] == [
            ("4", "at", "bad_time"), ("9", "cushion_mm", "not_a_number"),
        ]  # fmt: skip
        assert all(row["reason"] and row["raw"] for row in read)
        assert shots_of(plant) == 28


async def test_undoing_takes_back_what_it_brought_and_nothing_else(any_url: str) -> None:
    async with plant_at(any_url) as plant:
        await stored(plant, table(rows(50)))
        second = await stored(plant, table(rows(80)))  # the first 50 are known
        plant.objects.pipeline.evaluate_all()
        assert shots_of(plant) == 80
        await plant.call("POST", f"/imports/{second}/undo", json={})
        one = await plant.ended(second, "undone")
        assert one["presses"] == []
        assert shots_of(plant) == 50
        plant.objects.pipeline.evaluate_all()
        state = await plant.call("GET", "/presses/P07")
        assert state["pending_shots"] == 0
        assert state["evaluated_through"] == "2026-03-31T22:16:40.000Z"
        audit = await plant.client.post(f"/api/v1/imports/{second}/undo", json={})
        assert audit.status_code == 409
        # The same file again brings the same shots.
        assert shots_of(plant) == 50
        await stored(plant, table(rows(80)))
        assert shots_of(plant) == 80


async def test_undoing_everything_leaves_an_empty_press(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await stored(plant, table(rows(60)))
        plant.objects.pipeline.evaluate_all()
        await plant.call("POST", f"/imports/{number}/undo", json={})
        await plant.ended(number, "undone")
        plant.objects.pipeline.evaluate_all()
        shown = await plant.call("GET", "/presses/P07")
        assert shown["evaluated_through"] is None
        trend = await plant.call("GET", "/presses/P07/shots")
        assert trend["items"] == []


async def test_undoing_is_refused_while_an_approved_baseline_rests_on_it(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await stored(plant, table(rows(400)))
        plant.objects.pipeline.evaluate_all()
        await plant.call(
            "POST", "/presses/P07/baselines", json={"mold": "M-1", "last_shots": 300, "approve": True}
        )
        refused = await plant.client.post(f"/api/v1/imports/{number}/undo", json={})
        assert refused.status_code == 409
        assert "baseline 1 of P07" in refused.json()["detail"]
        assert shots_of(plant) == 400
        await plant.call("POST", f"/imports/{number}/undo", json={"although_used": True})
        await plant.ended(number, "undone")
        assert shots_of(plant) == 0


async def test_cancelling_keeps_what_is_stored_and_can_be_undone(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await plant.bring("week.csv", table(rows(4000) + rows(40_000, first=5000)))
        found = await plant.call("POST", f"/imports/{number}/look", json=PRESS)
        await plant.call("POST", f"/imports/{number}/start", json=found["options"])
        await plant.call("POST", f"/imports/{number}/cancel")
        one = await plant.ended(number)
        assert one["state"] == "cancelled"
        assert one["stored"] < 44_000
        assert sum(press["shots"] for press in one["presses"]) == one["stored"]
        if one["stored"]:
            await plant.call("POST", f"/imports/{number}/undo", json={})
            await plant.ended(number, "undone")
            assert shots_of(plant) == 0


async def test_rows_of_each_cavity_are_asked_about_and_added_up_when_told(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        made = [row for row in rows(40) for _ in range(4)]
        number = await plant.bring("week.csv", table(made))
        found = await plant.call("POST", f"/imports/{number}/look", json=PRESS)
        (question,) = [one for one in found["questions"] if one["code"] == "cavities"]
        assert "120 of 160 rows repeat" in question["text"]
        await plant.call("POST", f"/imports/{number}/start", json={**found["options"], "cavities": "sum"})
        one = await plant.ended(number)
        assert (one["stored"], one["duplicate"], one["received"]) == (40, 0, 160)
        with plant.objects.store.read() as connection:
            press = need_press(connection, "P07")
            weights = read_columns(connection, press.press_id, names=("part_weight_g",), limit=50)
        assert weights["part_weight_g"].tolist() == pytest.approx([164.8] * 40)


async def test_wrapped_negatives_and_rows_of_another_press_are_flagged(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        made = [(*row, "P07" if row[0] % 2 else "P08") for row in rows(60)]
        made[3] = (*made[3][:3], 655.31, *made[3][4:])
        number = await plant.bring("week.csv", table(made, header=(*HEADER, "Machine")))
        found = await plant.call("POST", f"/imports/{number}/look", json={"time_zone": "UTC"})
        assert "presses" in {one["code"] for one in found["questions"]}
        assert "wrapped" in {one["code"] for one in found["flags"]}
        options = {**found["options"], "only_press": "P08", "unwrap": True}
        await plant.call("POST", f"/imports/{number}/start", json=options)
        one = await plant.ended(number)
        assert (one["stored"], one["rejected"]) == (30, 30)
        with plant.objects.store.read() as connection:
            press = need_press(connection, "P08")
            cushions = read_columns(connection, press.press_id, names=("cushion_mm",), limit=50)["cushion_mm"]
        assert min(cushions) == pytest.approx(-0.05)


async def test_a_mapping_is_saved_by_name_and_offered_for_the_same_header(any_url: str) -> None:
    async with plant_at(any_url) as plant:
        options = {"mapping": {"Cycle": "counter"}, "time_zone": "UTC"}
        columns = list(HEADER)
        saved = await plant.call(
            "PUT", "/import-mappings/Line 3", json={"options": options, "columns": columns}
        )
        assert saved["options"] == options
        number = await plant.bring("week.csv", table(rows(3)))
        found = await plant.call("POST", f"/imports/{number}/look", json={})
        assert [(one["name"], one["fits"]) for one in found["mappings"]] == [("Line 3", True)]
        other = await plant.bring("week.csv", table(rows(3), header=("a", *HEADER[1:])))
        found = await plant.call("POST", f"/imports/{other}/look", json={})
        assert found["mappings"][0]["fits"] is False
        await plant.call("DELETE", "/import-mappings/Line 3")
        assert (await plant.call("GET", "/import-mappings"))["items"] == []


@pytest.mark.parametrize(
    ("method", "path", "body", "status", "says"),
    [
        ("POST", "/imports/99/look", {}, 404, "no import 99"),
        ("POST", "/imports/1/look", {"maping": {}}, 422, "maping"),
        ("POST", "/imports/1/look", {"mapping": {"Cycle": "cushon"}}, 422, "no field of a shot"),
        ("POST", "/imports/1/look", {"mapping": {"Cycle": 3}}, 422, "texts"),
        ("POST", "/imports/1/look", {"encoding": "ebcdic"}, 422, "known are utf-8"),
        ("POST", "/imports/1/look", {"column_units": {"Cycle": "yd"}}, 422, "known units"),
        ("POST", "/imports/1/start", {"mapping": {"Cycle": "counter"}}, 422, "no column holds at"),
        ("POST", "/imports/1/undo", {}, 409, "is uploaded"),
        ("PUT", "/import-mappings/x", {"options": [], "columns": ["a"]}, 422, "options"),
        ("PUT", "/import-mappings/x", {"options": {"a": 1}, "columns": ["a"]}, 422, "no option"),
        ("DELETE", "/import-mappings/x", None, 404, "no mapping"),
    ],
)
async def test_what_cannot_be_is_refused_with_the_way_out(
    sqlite_url: str, method: str, path: str, body: object, status: int, says: str
) -> None:
    async with plant_at(sqlite_url) as plant:
        await plant.bring("week.csv", table(rows(3)))
        answer = await plant.client.request(method, f"/api/v1{path}", json=body)
        assert answer.status_code == status
        assert says in answer.json()["detail"]


async def test_times_left_open_are_not_guessed(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await plant.bring("week.csv", table([(1, "03/04/2026 06:00", 80, 6, 1000, 41)]))
        found = await plant.call("POST", f"/imports/{number}/look", json=PRESS)
        for options, field in (
            ({**found["options"], "time_zone": None}, "time_zone"), (found["options"], "date_order"),
        ):  # fmt: skip
            answer = await plant.client.post(f"/api/v1/imports/{number}/start", json=options)
            assert (answer.status_code, answer.json()["field"]) == (422, field)
        await plant.call(
            "POST", f"/imports/{number}/start", json={**found["options"], "date_order": "month_first"}
        )
        assert (await plant.ended(number))["presses"][0]["from"] == "2026-03-04T05:00:00.000Z"


async def test_an_empty_file_and_one_too_large_are_refused(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        answer = await plant.client.post("/api/v1/imports?name=a.csv", content=b"")
        assert answer.status_code == 422
        object.__setattr__(plant.objects.settings, "max_import_bytes", 10)
        answer = await plant.client.post("/api/v1/imports?name=a.csv", content=b"x" * 11)
        assert answer.status_code == 413
        assert [one["state"] for one in (await plant.call("GET", "/imports"))["items"]] == ["failed"] * 2


async def test_what_a_stopped_server_left_goes_on_behind_its_last_piece(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    usual = import_run.run_import.__kwdefaults__
    assert usual is not None
    monkeypatch.setitem(usual, "piece_rows", 100)
    async with plant_at(sqlite_url) as plant:
        number = await plant.bring("week.csv", table([*rows(950), ("x", *rows(1)[0][1:])]))
        found = await plant.call("POST", f"/imports/{number}/look", json=PRESS)
        take_in, pieces = plant.objects.pipeline.take_in, list[int]()
        stop = threading.Thread(target=plant.objects.imports.close)

        def slow(*batch: Any, **how: Any) -> Any:
            pieces.append(1)
            if len(pieces) == 3:
                stop.start()
                time.sleep(0.2)  # until it waits for this piece
            return take_in(*batch, **how)

        monkeypatch.setattr(plant.objects.pipeline, "take_in", slow)
        await plant.call("POST", f"/imports/{number}/start", json=found["options"])
        until = time.monotonic() + 20
        while stop.ident is None and time.monotonic() < until:
            time.sleep(0.01)
        stop.join(timeout=20)
        left = await plant.call("GET", f"/imports/{number}")
        assert left["state"] == "running"
        assert 300 <= left["received"] < 951
    async with plant_at(sqlite_url) as plant:
        plant.objects.imports.start()
        one = await plant.ended(number)
        counts = {name: one[name] for name in kept_imports.COUNTS}
        assert one["state"] == "done"
        assert counts == {"received": 951, "stored": 950, "duplicate": 0, "conflict": 0, "rejected": 1}
        assert shots_of(plant) == 950
        await plant.call("POST", f"/imports/{number}/undo", json={})
        await plant.ended(number, "undone")
        assert shots_of(plant) == 0


async def test_an_undo_that_was_cut_off_goes_on(sqlite_url: str) -> None:
    async with plant_at(sqlite_url) as plant:
        number = await stored(plant, table(rows(200)))
        plant.objects.store.write(lambda c: kept_imports.change_import(c, number, state="undoing"))
    async with plant_at(sqlite_url) as plant:
        plant.objects.imports.start()
        await plant.ended(number, "undone")
        assert shots_of(plant) == 0


async def test_what_cannot_go_on_is_said_to_have_failed(sqlite_url: str) -> None:
    """The file is gone, or the kill came before all of its bytes."""
    async with plant_at(sqlite_url) as plant:
        gone, cut = [await plant.bring("week.csv", table(rows(3))) for _ in range(2)]
        files = Path(f"{sa.make_url(sqlite_url).database}.imports")
        (files / f"{gone}.csv").unlink()
        plant.objects.store.write(lambda c: kept_imports.change_import(c, gone, state="running"))
        plant.objects.store.write(lambda c: kept_imports.change_import(c, cut, size=0))
        (files / "77.csv").write_bytes(b"of nobody")
        plant.objects.imports.start()
        for number in (gone, cut):
            one = await plant.call("GET", f"/imports/{number}")
            assert (one["state"], "the server stopped" in one["trouble"]) == ("failed", True)
            assert one["ended_at"] is not None
        assert list(files.iterdir()) == []


async def test_files_nobody_stores_go_after_a_day_and_too_many_are_refused(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(import_jobs, "WAITING_MAX", 2)
    async with plant_at(sqlite_url) as plant:
        first, _ = [await plant.bring("week.csv", table(rows(3))) for _ in range(2)]
        answer = await plant.client.post("/api/v1/imports?name=a.csv", content=b"x")
        assert answer.status_code == 409
        assert "give up one" in answer.json()["detail"]
        long_ago = NOW_MS - import_jobs.WAITS_MS - 1
        plant.objects.store.write(lambda c: kept_imports.change_import(c, first, created_ms=long_ago))
        await plant.bring("b.csv", table(rows(3)))
        one = await plant.call("GET", f"/imports/{first}")
        assert (one["state"], "within a day" in one["trouble"]) == ("failed", True)
