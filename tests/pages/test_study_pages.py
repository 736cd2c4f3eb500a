"""Pages of a study: while it is done and when it is kept, for those who may and those who only look."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from server.access.actors import Actor
from server.record import sheets
from server.record.studies import CAUTIONS, keep_study
from server.store.database import Store
from server.store.plant import Press, need_press
from tests.pages.plant import DAY, NOW, make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import VIEWER, Visitor

LEAD = Actor("ines", "line_lead", "person")
WEIGHTS = [41.8, 41.6, 41.9, 41.75, 41.82, 38.0]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    kept = make_plant(Path(tmp_path_factory.mktemp("studies")))
    kept.write(_work)
    yield kept
    kept.close()


def _work(connection: Any) -> None:
    """Sheets 1 to 4 of P07, one of each kind; studies 2 to 5: drift checks and inspections of one valve."""
    press = need_press(connection, "P07")
    _sheet(connection, press, "short-shot", WEIGHTS)
    drift = {"resin": "pp", "method": "shut_gate", "pressure_bar": 500}
    _sheet(connection, press, "drift-check", [[2 * i, 30 - 0.1 * i] for i in range(20)], **drift)
    _sheet(connection, press, "gate-seal", [[t, min(10 + 0.5 * t, 12.5)] for t in range(1, 11)])
    _sheet(connection, press, "qualification", [1.4], series="recovery")
    samples = [{"t_s": 2 * i, "position_mm": 30 - 0.02 * i} for i in range(20)]
    for at in ("2026-10-01T06:00:00Z", "2026-11-01T06:00:00Z"):
        body = {"press": "P07", "at": at, "pressure_bar": 500, "samples": samples}
        keep_study(connection, "drift-check", body, who="ines", now_ms=NOW)
        found = {"press": "P07", "at": at, "verdict": "worn"}
        measured = {"ring_diameter_mm": 49.9, "bore_diameter_mm": 50.1}
        keep_study(connection, "inspection", {**found, **measured}, who="ines", now_ms=NOW)


def _sheet(connection: Any, press: Press, kind: str, values: list[Any], **more: Any) -> None:
    series = {"series": more.pop("series")} if "series" in more else {}
    asked = {"kind": kind, "mold": "M-113", "confirmed": list(CAUTIONS[kind]), **more}
    sheet = sheets.open_sheet(connection, press, asked, who="ines", now_ms=NOW - DAY // 48)
    body = {"values": values, **series}
    sheets.add_readings(connection, press, sheet.sheet_no, body, who="ines", now_ms=NOW)


def shown(store: Store, path: str, actor: Actor = LEAD) -> str:
    answer = Visitor(page_server(store, actor=actor)).get(path)
    assert answer.status_code == 200
    return answer.text


def test_an_open_sheet_says_how_it_stands_and_what_would_settle_it(store: Store) -> None:
    text = shown(store, "/presses/P07/sheets/1")
    assert "True variation over the limit" in text
    assert "Shot 6 (38.000 g) lies apart" in text
    assert "It stays in" in text
    assert 'class="plot"' in text
    assert "confirmed by ines" in text


def test_what_settling_took_and_why_stands_on_the_drift_check(store: Store) -> None:
    text = shown(store, "/presses/P07/sheets/2")
    assert "Left out as settling" in text
    assert "the first third of the time" in text
    assert "shut valve gate" in text


def test_a_gate_seal_is_drawn_with_its_time(store: Store) -> None:
    text = shown(store, "/presses/P07/sheets/3")
    assert "Gate seals at" in text
    assert text.count("plot-fit") == 2


def test_a_qualification_counts_checks_and_minutes(store: Store) -> None:
    text = shown(store, "/presses/P07/sheets/4")
    assert "1 of 9 checks done, 30 of 30 minutes gone." in text
    assert "Studies that belong to it" in text


@pytest.mark.parametrize(("number", "what"), [(4, "Creep"), (5, "Clearance")])
def test_repeated_checks_are_drawn_over_the_life_of_the_valve(store: Store, number: int, what: str) -> None:
    text = shown(store, f"/presses/P07/studies/{number}")
    assert f"{what} over the life of this valve" in text
    assert text.count("plot-interval") == 2
    assert "days on the valve" in text


def test_checks_at_two_screw_positions_tell_bore_from_ring(tmp_path: Path) -> None:
    own = make_plant(tmp_path)

    def work(connection: Any) -> None:
        for start, creep in ((30.0, 0.02), (80.0, 0.4)):
            samples = [{"t_s": t, "position_mm": start - creep * t} for t in range(20)]
            body = {"press": "P07", "pressure_bar": 500, "samples": samples}
            keep_study(connection, "drift-check", body, who="ines", now_ms=NOW)

    own.write(work)
    assert "a worn bore leaks so" in shown(own, "/presses/P07/studies/2")
    own.close()


def test_who_only_looks_sees_no_form(store: Store) -> None:
    for path in ("sheets/1", "sheets/4", "studies/5"):
        text = shown(store, f"/presses/P07/{path}", VIEWER)
        assert not re.search('data-post|data-file-post|data-action="/api/v1/presses', text)


def test_live_parts_of_a_sheet_are_in_its_fragment(store: Store) -> None:
    visitor = Visitor(page_server(store, actor=LEAD))
    for path in ("sheets/1", "sheets/4", "studies/5"):
        whole = re.findall(r'data-live="([^"]+)"', visitor.get(f"/presses/P07/{path}").text)
        part = re.findall(r'data-live="([^"]+)"', visitor.get(f"/presses/P07/{path}", X_Fragment="1").text)
        assert [one for one in whole if one != "corner"] == [one for one in part if one != "corner"]


@pytest.mark.parametrize("path", ["sheets/99", "studies/99"])
def test_what_was_never_done_is_404(store: Store, path: str) -> None:
    assert Visitor(page_server(store, actor=LEAD)).get(f"/presses/P07/{path}").status_code == 404
    assert Visitor(page_server(store, actor=LEAD)).get(f"/presses/nobody/{path}").status_code == 404


def test_open_studies_stand_at_the_top_of_the_list(store: Store) -> None:
    text = shown(store, "/studies")
    assert "Four studies are being done." in text
    assert text.count(">Go on<") == 4
