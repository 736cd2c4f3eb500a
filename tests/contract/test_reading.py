"""The reading calls over HTTP: presses, what happened to them, molds, and what is refused."""

import itertools
import math
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest

from server.access.actors import NOBODY, OPEN
from server.clock import as_text
from server.contract import LEAK_CAUSES
from server.store.database import Store
from tests.contract.reading_plant import (
    ALL,
    AT,
    CYCLE,
    MOLD,
    NOW,
    ONSET,
    PRESS,
    START,
    Plant,
    build,
    fill,
    key,
)


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


def test_the_list_can_be_of_the_presses_that_run_a_mold(plant: Plant) -> None:
    of_mold = plant.get("/presses?mold=" + quote(MOLD, safe=""))["items"]
    assert [one["press"] for one in of_mold] == ["P-bare", PRESS]  # P-new runs none
    assert plant.get("/presses?mold=M-none")["items"] == []


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


@pytest.mark.parametrize(
    "path", ["/presses/%00", "/presses/a%00b/shots", "/molds/%00", "/quarantine?press=%00"]
)
def test_a_code_no_database_takes_is_not_found(plant: Plant, path: str) -> None:
    assert plant.ask(path).status_code == 404


def test_times_at_the_ends_of_the_calendar_are_taken(plant: Plant) -> None:
    everything = "from=0001-01-01T00:00:00%2B14:00&to=9999-12-31T23:59:59-14:00"
    assert len(plant.get(f"{AT}/shots?limit=10000&{everything}")["items"]) == ALL
    assert plant.get(f"{AT}/containment?since=9999-12-31T23:59:59-14:00")["shots"] == 0


ASKED = [
    "/presses?limit=2",
    AT,
    f"{AT}/shots?limit=50",
    f"{AT}/shots?signals=swept_mm&from={as_text(START + 10 * CYCLE)}",
    f"{AT}/trend?signal=swept_mm&points=20",
    f"{AT}/leak",
    f"{AT}/leak/history?limit=4",
    f"{AT}/findings?limit=4",
    f"{AT}/events?limit=2",
    f"{AT}/containment",
    "/molds",
    f"/molds/{MOLD}/capability",
    f"/molds/{MOLD}/capability?signal=swept_mm",
    "/quarantine?press=P-who&limit=2",
]


def test_postgresql_answers_the_same(plant: Plant, postgresql_url: str) -> None:
    store = Store(postgresql_url)
    try:
        build(store)
        other = Plant(store)
        for path in ASKED:
            one, two = plant.get(path), other.get(path)
            while True:
                mine, theirs = one.get("items", [one]), two.get("items", [two])
                for item in (*mine, *theirs):
                    # Row ids carry a random serial.
                    if path.startswith("/quarantine"):
                        item.pop("id"), item.pop("raw")
                assert mine == theirs, path
                assert (one.get("next_cursor") is None) == (two.get("next_cursor") is None)
                if one.get("next_cursor") is None:
                    break
                tail = "&cursor=" if "?" in path else "?cursor="
                one, two = (p.get(path + tail + c["next_cursor"]) for p, c in ((plant, one), (other, two)))
    finally:
        store.close()
