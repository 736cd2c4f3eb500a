"""Acting over HTTP: what is written, what is told to open pages, what wakes evaluation."""

import json
from typing import Any
from urllib.parse import quote

import pytest

from server.notify.alarms import react
from server.notify.conditions import Condition
from server.store.plant import need_press
from tests.access.plant import MORNING, Plant, plant
from tests.record.shots import made

ODD = "P 07 Ä+-%"
LEAK = Condition("leak", True, True, "now", "not_closing", {"likelihood": 0.95})


def path(press: str, rest: str = "") -> str:
    return f"/api/v1/presses/{quote(press, safe='')}{rest}"


def opened(here: Plant, press: str) -> None:
    """The press begins to leak."""
    here.objects.store.write(lambda c: react(c, need_press(c, press), LEAK, now_ms=MORNING))


def leaking(here: Plant, press: str = ODD) -> str:
    """A press with an open alarm; the alarm's path."""
    here.caller()("PUT", path(press), {})
    opened(here, press)
    return f"/api/v1/alarms/{quote(press, safe='')}-1"


def test_a_press_is_created_then_merged(sqlite_url: str) -> None:
    with plant(sqlite_url, no_login=True) as here:
        call = here.caller()
        first = call("PUT", path(ODD), {"screw_diameter_mm": 45, "area": "hall 2"})
        assert (first.status_code, first.json()["press"]) == (201, ODD)
        second = call("PUT", path(ODD), {"dose_lag": 1})
        assert (second.status_code, second.json()["area"], second.json()["dose_lag"]) == (200, "hall 2", 1)
        assert here.objects.hub.told == [("press", ODD), ("press", ODD)]
        assert here.objects.woken == 1


@pytest.mark.parametrize(
    ("method", "where", "body", "status", "code"),
    [
        ("PUT", "/api/v1/presses/P07", {"screw_diameter_mm": -1}, 422, "invalid"),
        ("PUT", "/api/v1/presses/P07", [1], 422, "bad_body"),
        ("PUT", "/api/v1/presses/%20P07", {}, 422, "invalid"),
        ("PUT", "/api/v1/molds/M", {"limits": {"part_weight_g": {"lower": 2, "upper": 1}}}, 422, "invalid"),
        ("POST", "/api/v1/presses/P99/events", {"kind": "lot"}, 404, "not_found"),
        ("POST", "/api/v1/presses/P99/baselines", {"mold": "M", "last_shots": 50}, 404, "not_found"),
        ("PUT", "/api/v1/presses/P99/valve", {}, 404, "not_found"),
        ("POST", "/api/v1/studies/short-shot", {"weights_g": [1, 2, 3]}, 422, "invalid"),
        ("POST", "/api/v1/studies/tea-leaves", {}, 422, "invalid"),
        ("POST", "/api/v1/alarms/P99-1/acknowledge", {"reason": "seen"}, 404, "not_found"),
        ("PUT", "/api/v1/settings", {"prevalence": 2}, 422, "invalid"),
        ("GET", "/api/v1/alarms?cursor=xyz", None, 422, "invalid"),
        ("GET", "/api/v1/alarms?state=asleep", None, 422, "invalid"),
        ("GET", "/api/v1/alarms?limit=0", None, 422, "invalid"),
    ],
)
def test_what_cannot_be_done_is_a_problem_with_a_code(
    sqlite_url: str, method: str, where: str, body: Any, status: int, code: str
) -> None:
    with plant(sqlite_url, no_login=True) as here:
        answer = here.caller()(method, where, body)
        assert (answer.status_code, answer.json()["code"]) == (status, code), answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        assert here.objects.hub.told == []


def test_a_body_that_is_no_json_is_a_problem(sqlite_url: str) -> None:
    with plant(sqlite_url, no_login=True) as here:
        for raw, kind in (("{", "application/json"), ("x=1", "text/plain"), ("", "application/json")):
            answer = here.caller()(
                "PUT", "/api/v1/presses/P07", headers={"Content-Type": kind}, content=raw.encode()
            )
            assert answer.status_code == 422, (raw, answer.text)


@pytest.mark.parametrize("text", ["\ud800", "\0"])
def test_characters_that_are_none_never_fail_the_server(any_url: str, text: str) -> None:
    with plant(any_url, no_login=True) as here:
        where, call = leaking(here), here.caller()
        raw = {
            ("POST", where + "/acknowledge"): {"reason": "seen", "note": text},
            ("PUT", path("P8")): {"details": {text: text}},
            ("PUT", "/api/v1/molds/M"): {"part": text},
            ("POST", path(ODD, "/events")): {"kind": "note", "note": text},
            ("POST", "/api/v1/studies/qualification"): {
                "press": ODD,
                "mold": "M",
                "verdict": "failed",
                "checks": {text: "failed"},
            },
            ("POST", "/api/v1/login"): {"name": text, "password": text},
            ("POST", "/api/v1/alarms/%00-1/acknowledge"): {"reason": "seen"},
            ("POST", "/api/v1/presses/%00/events"): {"kind": "lot"},
        }
        for (method, address), body in raw.items():
            answer = call(
                method,
                address,
                headers={"Content-Type": "application/json"},
                content=json.dumps(body).encode(),
            )
            assert answer.status_code < 500, (address, answer.text)


def test_an_alarm_is_listed_acknowledged_and_keeps_the_first_name(any_url: str) -> None:
    with plant(any_url, no_login=True) as here:
        where, call = leaking(here), here.caller()
        (item,) = call("GET", "/api/v1/alarms").json()["items"]
        assert (item["id"], item["press"]) == (f"{quote(ODD, safe='')}-1", ODD)
        assert item["state"] == "unacknowledged"
        assert (item["urgency"], item["cause"], item["active"]) == ("now", "not_closing", True)
        assert item["opened_at"] == "2026-04-01T06:00:00.000Z"
        here.objects.hub.told.clear()
        first = call("POST", where + "/acknowledge", {"reason": "going", "note": "on my way"})
        second = call("POST", where + "/acknowledge", {"reason": "seen"})
        assert (first.status_code, second.status_code) == (200, 200)
        assert (second.json()["acknowledged_by"], second.json()["reason"]) == ("no login", "going")
        assert here.objects.hub.told == [("alarm", f"{quote(ODD, safe='')}-1")]
        steps = call("GET", where).json()["steps"]
        assert [step["action"] for step in steps] == ["opened", "acknowledged"]


def test_a_repeated_request_under_one_key_acts_once(any_url: str) -> None:
    with plant(any_url, no_login=True) as here:
        where, call = leaking(here), here.caller(**{"Idempotency-Key": "tap-1"})
        first = call("POST", where + "/shelve", {"minutes": 60, "note": "after the shift"}).json()
        here.objects.clock += 60_000
        again = call("POST", where + "/shelve", {"minutes": 60, "note": "after the shift"}).json()
        assert first["shelved_until"] == again["shelved_until"] == "2026-04-01T07:00:00.000Z"
        assert call("POST", where + "/unshelve").status_code == 409
        other = here.caller()("POST", where + "/unshelve")
        assert (other.status_code, other.json()["state"]) == (200, "unacknowledged")


def test_alarms_page_by_cursor_and_filter_by_state_and_press(any_url: str) -> None:
    with plant(any_url, no_login=True) as here:
        for number in range(5):
            leaking(here, f"P{number}")
        call = here.caller()
        call("POST", "/api/v1/alarms/P3-1/acknowledge", {"reason": "seen"})
        seen, cursor = [], ""
        while True:
            page = call("GET", f"/api/v1/alarms?limit=2{cursor}").json()
            seen += [item["id"] for item in page["items"]]
            if page["next_cursor"] is None:
                break
            cursor = f"&cursor={page['next_cursor']}"
        assert sorted(seen) == [f"P{n}-1" for n in range(5)]
        only = call("GET", "/api/v1/alarms?state=acknowledged").json()["items"]
        assert [item["id"] for item in only] == ["P3-1"]
        assert len(call("GET", "/api/v1/alarms?press=P2&state=all").json()["items"]) == 1


def test_a_key_for_one_press_acknowledges_there_only(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        engineer = here.person("eda", "plant_engineer")
        for press in ("P1", "P2"):
            engineer("PUT", path(press), {})
            opened(here, press)
        key = here.key(press="P1", scopes=("act",))
        assert key("POST", "/api/v1/alarms/P1-1/acknowledge", {"reason": "seen"}).status_code == 200
        assert key("POST", "/api/v1/alarms/P2-1/acknowledge", {"reason": "seen"}).status_code == 403
        assert (
            key("POST", "/api/v1/studies/short-shot", {"press": "P2", "weights_g": [1, 2, 3]}).status_code
            == 403
        )


def test_an_id_written_encoded_does_not_lead_a_key_to_another_press(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        engineer = here.person("eda", "plant_engineer")
        for press in ("P 7", "P%207"):
            engineer("PUT", path(press), {})
        opened(here, "P 7")
        key = here.key(press="P%207", scopes=("act",))
        twice = "/api/v1/alarms/P%25207-1/acknowledge"
        assert key("POST", twice, {"reason": "seen"}).status_code == 403
        assert engineer("POST", twice, {"reason": "seen"}).json()["press"] == "P 7"


def test_a_baseline_is_captured_approved_listed_and_retired(any_url: str) -> None:
    with plant(any_url, no_login=True) as here:
        call = here.caller()
        call("PUT", path("P07"), {"screw_diameter_mm": 45})
        here.objects.store.write(lambda c: made(c, need_press(c, "P07"), 120, start_ms=MORNING - 86_400_000))
        body = {"mold": "M-113", "last_shots": 100, "approve": True, "note": "startup"}
        answer = call("POST", path("P07", "/baselines"), body)
        assert answer.status_code == 201, answer.text
        kept = answer.json()
        assert (kept["id"], kept["state"], kept["shots"], kept["missing"]) == (1, "approved", 100, {})
        assert kept["signals"]["swept_mm"]["n"] <= 100
        assert here.objects.woken == 1
        call("POST", path("P07", "/baselines"), {"mold": "M-113", "last_shots": 50})
        items = call("GET", path("P07", "/baselines") + "?limit=1").json()
        assert items["items"][0]["id"] == 2
        rest = call("GET", path("P07", "/baselines") + f"?cursor={items['next_cursor']}").json()
        assert [item["id"] for item in rest["items"]] == [1]
        assert call("POST", path("P07", "/baselines/1/retire")).json()["state"] == "retired"
        assert call("POST", path("P07", "/baselines/1/approve")).status_code == 409
        approved = call("POST", path("P07", "/baselines/2/approve"), {"note": "dies polished"}).json()
        assert (approved["approved_by"], approved["approved_note"]) == ("no login", "dies polished")
        report = call("GET", path("P07", "/baselines/2")).json()
        assert report["qualification"]["status"] == "relative_only"
        swept = next(one for one in report["report"] if one["signal"] == "swept_mm")
        assert swept["sigma_lower"] < swept["sigma_total"] < swept["sigma_upper"]
        assert (swept["n"], report["made_with"]) == (50, [{"setup": "S1", "setpoints": {}}])
        both = call("GET", path("P07", "/baselines/compare?first=1&second=2")).json()
        assert (both["first"]["shots"], both["second"]["baseline"], both["same_process"]) == (100, 2, True)
        assert not any(one.get("moved") or one.get("scattered") for one in both["signals"])
        assert call("GET", path("P07", "/baselines/compare?first=9")).status_code == 404
        late = call("GET", path("P07", "/baselines/compare?first=2"))
        assert (late.status_code, "no settled shots" in late.text) == (409, True)
        none = call("GET", path("P07", "/baselines/compare"))
        assert (none.status_code, none.json()["field"]) == (422, "first")


def test_set_points_entered_by_hand_are_kept_and_what_differs_is_a_setting_event(any_url: str) -> None:
    with plant(any_url, no_login=True) as here:
        call = here.caller()
        call("PUT", path("P07"), {"screw_diameter_mm": 45})
        body = {"mold": "M-113", "material": "PP", "setpoints": {"hold_bar": 400, "speed": "60,5"}}
        unknown = call("POST", path("P07", "/setups"), body)
        assert (unknown.status_code, "M-113" in unknown.text) == (422, True)
        here.objects.store.write(lambda c: made(c, need_press(c, "P07"), 30, start_ms=MORNING - 86_400_000))
        call("PUT", "/api/v1/molds/M-113", {})
        first = call("POST", path("P07", "/setups"), {**body, "at": "2026-04-01T04:00:00Z"})
        assert (first.status_code, first.json()["setpoints"]) == (201, {"hold_bar": 400.0, "speed": 60.5})
        assert call("GET", path("P07", "/setups")).json()["changes"] == []
        names = (("hold_bar", "450"), ("speed", "60.5"), ("", ""))
        rows = [{"name": name, "value": value} for name, value in names]
        assert call("POST", path("P07", "/setups"), {**body, "setpoints": rows}).status_code == 201
        found = call("GET", path("P07", "/setups")).json()
        (change,) = found["changes"]
        assert (change["setting"], change["from"], change["to"]) == ("hold_bar", "400", "450")
        (run,) = found["items"]
        assert (run["setup"], run["baseline"], run["entered"]["setpoints"]["hold_bar"]) == ("S1", None, 450.0)
        assert [one["id"] for one in found["entries"]] == [2, 1]
        for wrong, field in (
            ({"hold_bar": True}, "setpoints.hold_bar"),
            ({}, "setpoints"),
            ([{"name": "a", "value": ""}], "setpoints[0].value"),
            ([{"name": "a", "value": "1"}, {"name": "a", "value": "2"}], "setpoints[1].name"),
        ):
            refused = call("POST", path("P07", "/setups"), {**body, "setpoints": wrong})
            assert (refused.status_code, field in refused.text) == (422, True), refused.text


def test_events_valves_studies_and_settings_answer_with_what_was_kept(any_url: str) -> None:
    with plant(any_url, no_login=True) as here:
        call = here.caller()
        call("PUT", path(ODD), {"screw_diameter_mm": 45})
        event = call(
            "POST", path(ODD, "/events"), {"kind": "lot", "at": "2026-04-01T07:00:00+02:00", "lot": "L2"}
        )
        assert (event.status_code, event.json()["at"]) == (201, "2026-04-01T05:00:00.000Z")
        assert call("PUT", path(ODD, "/valve"), {"part_number": "R-1", "shots_before": 7}).status_code == 200
        (valve,) = call("GET", "/api/v1/valves").json()["items"]
        assert (valve["press"], valve["part_number"], valve["shots"]) == (ODD, "R-1", 7)
        study = {"press": ODD, "weights_g": [10.0, 10.2, 9.9, 10.1, 10.0], "limit_pct": 5}
        judged = call("POST", "/api/v1/studies/short-shot", study).json()
        assert {"percent_variation", "mean_g", "sd_g", "cv_pct", "sd_interval", "verdict", "text"} <= set(
            judged
        )
        (kept,) = call("GET", f"/api/v1/studies?kind=short-shot&press={quote(ODD, safe='')}").json()["items"]
        assert kept["result"]["mean_g"] == judged["mean_g"]
        mold = call("PUT", "/api/v1/molds/M-113", {"part": "cap", "limits": {"part_weight_g": {"lower": 1}}})
        assert (mold.status_code, mold.json()["limits"]) == (201, {"part_weight_g": {"lower": 1.0}})
        assert call("PUT", "/api/v1/settings", {"prevalence": 0.1}).json()["prevalence"] == 0.1
        assert call("GET", "/api/v1/settings").json()["prevalence"] == 0.1
