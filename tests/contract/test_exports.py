"""Kept rows as files: the same values in every form, whole though read in pages, nothing a sheet runs."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from server.errors import TooLargeError
from server.routes import exports
from server.show.spreadsheets import flattened, write_file
from server.store.database import Store
from server.store.exports import EXPORTS, heads_of, pages_of
from server.store.plant import need_press
from server.store.tables import shots
from server.waiting import Turns
from tests.benchmarks.history import watched_press
from tests.contract.test_reports import Plant

FORMS = ("csv", "xlsx", "parquet")


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Plant]:
    made = Plant(tmp_path_factory.mktemp("exports"))
    note = {"kind": "note", "note": '=HYPERLINK("http://example.com")', "at": "2026-01-05T06:00:00Z"}
    assert made.ask("POST", "/api/v1/presses/P07/events", note).is_success
    yield made
    made.objects.pipeline.close()
    made.objects.store.close()


def table_of(answer: httpx.Response, form: str) -> pd.DataFrame:
    assert answer.status_code == 200, answer.text
    assert f".{form}" in answer.headers["content-disposition"]
    data = io.BytesIO(answer.content)
    if form == "csv":
        return pd.read_csv(data)
    return pd.read_excel(data) if form == "xlsx" else pd.read_parquet(data)


@pytest.mark.parametrize("form", FORMS)
def test_shots_come_out_as_they_are_stored(plant: Plant, form: str) -> None:
    found = table_of(plant.ask("GET", f"/api/v1/export/shots?press=P07&format={form}"), form)
    with plant.objects.store.read() as connection:
        press_id = need_press(connection, "P07").press_id
        kept = connection.execute(
            sa.select(shots.c.at_ms, shots.c.counter, shots.c.cushion_mm)
            .where(shots.c.press_id == press_id)
            .order_by(shots.c.at_ms, shots.c.counter)
        ).all()
    assert found["counter"].tolist() == [row.counter for row in kept]
    assert np.allclose(found["cushion_mm"], [row.cushion_mm for row in kept], rtol=0, atol=1e-12)
    assert set(found["press"]) == {"P07"}
    assert set(found["mold"]) == {"M-113"}
    at = pd.to_datetime(found["at (UTC)" if form == "xlsx" else "at"], utc=True)
    stored = pd.to_datetime([row.at_ms for row in kept], unit="ms", utc=True)
    # A sheet keeps times as fractions of a day, to the millisecond.
    assert (abs(at - stored) <= pd.Timedelta(milliseconds=1)).all()


@pytest.mark.parametrize("form", FORMS)
def test_what_a_spreadsheet_would_run_is_text(plant: Plant, form: str) -> None:
    found = table_of(plant.ask("GET", f"/api/v1/export/events?format={form}"), form)
    note = next(text for text in found["note"].dropna() if "HYPERLINK" in text)
    assert note == ("=" if form == "parquet" else "'=") + 'HYPERLINK("http://example.com")'


def test_every_export_is_answered_and_knows_its_columns(plant: Plant) -> None:
    for what in [*EXPORTS, "presses", "molds", "sources", "spares", "days?press=P07"]:
        answer = plant.ask("GET", f"/api/v1/export/{what}{'&' if '?' in what else '?'}format=parquet")
        found = table_of(answer, "parquet")
        if what in EXPORTS:
            assert list(found.columns) == list(heads_of(EXPORTS[what]))
    assert "P07" in plant.ask("GET", "/api/v1/export/presses").text
    refused = plant.ask("GET", "/api/v1/export/passwords")
    assert (refused.status_code, refused.json()["field"]) == (404, "what")
    assert plant.ask("GET", "/api/v1/export/shots?press=NOPE").status_code == 404
    for unheard in ("presses?press=P07", "trials?from=2026-01-01T00:00:00Z", "molds?to=2026-01-01T00:00:00Z"):
        answer = plant.ask("GET", f"/api/v1/export/{unheard}")
        field = unheard.partition("?")[2].partition("=")[0]
        assert (answer.status_code, answer.json()["field"]) == (422, field)


def test_lanes_of_a_mold_are_the_numbers_of_the_api(plant: Plant) -> None:
    (item,) = plant.send("GET", "/api/v1/molds/M-113/capability")["items"]
    (row,) = table_of(plant.ask("GET", "/api/v1/molds/M-113/capability/export"), "csv").to_dict("records")
    told = (item["ppk"], item["ppk_interval"][0])
    assert (row["ppk"], row["ppk_interval_low"]) == pytest.approx(told, rel=1e-12)
    assert row["limits_upper"] == 42.1


def test_pages_leave_nothing_out_and_take_nothing_twice(any_store: Store) -> None:
    for press in ("A1", "A2"):
        watched_press(any_store, press, 700)
    rows = EXPORTS["shots"]
    ask: dict[str, Any] = {"press": None, "from_ms": None, "to_ms": None}
    pages = list(pages_of(rows, any_store.read, **ask, page=64))
    whole = [row for page in pages_of(rows, any_store.read, **ask) for row in page]
    assert [row for page in pages for row in page] == whole
    assert max(map(len, pages)) == 64
    assert len(whole) == len({(row[0], row[1], row[2]) for row in whole}) == 1_400
    middle = whole[300][list(heads_of(rows)).index("at")]
    later = pages_of(rows, any_store.read, press="A1", from_ms=middle, to_ms=None)
    assert [row for page in later for row in page] == [row for row in whole if row[0] == "A1"][300:]


def test_a_sheet_that_would_not_hold_them_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.show.spreadsheets.SHEET_ROWS", 5)
    with pytest.raises(Exception, match="a sheet holds 5 rows"):
        write_file(tmp_path / "x.xlsx", "xlsx", {"n": "whole"}, iter([[(1,)] * 3, [(2,)] * 3]))


def test_no_cell_of_a_csv_file_begins_a_formula_however_it_is_cut(tmp_path: Path) -> None:
    """Where lists are separated by semicolons, a program cuts within our cells, and quotes stop nothing."""
    texts = ["=1+1", "lot 7;=1+1", 'lot 7; "=1+1', "first\n@SUM(1)", "first\r\n+1", "a\t-1", "plain; text"]
    path = tmp_path / "x.csv"
    write_file(path, "csv", {"note": "text", "note;=cmd()": "text"}, iter([[(text, text) for text in texts]]))
    whole = path.read_text(encoding="utf-8")
    for cut in (";", ",", "\t"):
        cells = [cell.strip(' "\r') for line in whole.splitlines() for cell in line.split(cut)]
        assert [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))] == [], cut
    assert "plain; text" in whole


def test_names_somebody_gave_are_no_trouble_as_heads_of_a_sheet(tmp_path: Path) -> None:
    heads, rows = flattened([{"mold": "M-1", "details": {"\x0b=1": "a", "=2": "b\x00"}}])
    write_file(tmp_path / "x.xlsx", "xlsx", heads, iter([rows]))
    found = pd.read_excel(tmp_path / "x.xlsx")
    assert list(found.columns) == ["mold", "details_\ufffd=1", "details_=2"]
    with pytest.raises(TooLargeError, match="columns"):
        flattened([{str(name): 1 for name in range(5_000)}])


def test_who_waits_for_an_export_leaves_threads_to_the_pages(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(exports, "_TURNS", Turns(at_once=1, waiting=0, said="two exports", retry_after_s=20))
    with exports._TURNS.take():
        refused = plant.ask("GET", "/api/v1/export/valves")
    assert (refused.status_code, refused.headers["retry-after"]) == (503, "20")
    assert plant.ask("GET", "/api/v1/export/valves").status_code == 200


def test_summaries_say_where_most_shots_lay(plant: Plant) -> None:
    """Quantiles of a ten-minute bucket are those of its shots; a day that goes on has none yet."""
    found = table_of(plant.ask("GET", "/api/v1/export/summaries?press=P07&format=parquet"), "parquet")
    with plant.objects.store.read() as connection:
        press_id = need_press(connection, "P07").press_id
        kept = connection.execute(
            sa.select(shots.c.at_ms, shots.c.cushion_mm).where(shots.c.press_id == press_id)
        ).all()
    fine = found[(found["grain"] == 600) & (found["signal"] == "cushion_mm")]
    # One set-up, so a bucket is one row.
    assert len(fine) > 10
    assert fine["bucket"].is_unique
    begins = fine["bucket"].dt.as_unit("ms").astype("int64").tolist()
    for begin, said in zip(begins, fine[["p05", "p50", "p95"]].to_numpy(), strict=True):
        inside = [cushion for at_ms, cushion in kept if begin <= at_ms < begin + 600_000]
        assert np.allclose(said, np.quantile(inside, [0.05, 0.5, 0.95]), rtol=0, atol=1e-6)
    newest_day = found[found["grain"] == 86_400].sort_values("bucket").iloc[-1]
    assert pd.isna(newest_day["p50"])
