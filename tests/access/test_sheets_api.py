"""Studies being done, over HTTP: the scale with its key, files, photos, and who may what."""

from typing import Any

import httpx
import pytest

from server.errors import InvalidError
from server.record import photos
from server.record.studies import CAUTIONS
from server.routes.sheets import read_csv
from tests.access.plant import Caller, Plant, plant
from tests.record.test_photos import picture, telling


def a_press(here: Plant, code: str = "P07") -> Caller:
    engineer = here.person("eva", "plant_engineer")
    engineer("PUT", f"/api/v1/presses/{code}", {"screw_diameter_mm": 50})
    engineer("PUT", "/api/v1/molds/M-113", {"part": "lid"})
    return engineer


def begin(caller: Caller, kind: str = "short-shot", **body: Any) -> httpx.Response:
    asked = {"kind": kind, "mold": "M-113", "confirmed": list(CAUTIONS[kind]), **body}
    return caller("POST", "/api/v1/presses/P07/sheets", asked)


def test_a_scale_with_a_key_adds_to_the_study_that_is_open(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        scale = here.key(press="P07", scopes=("act",))
        early = scale("POST", "/api/v1/presses/P07/scale", {"value": 41.8})
        assert (early.status_code, early.json()["code"]) == (409, "conflict")
        assert begin(engineer).status_code == 201
        for i, value in enumerate((41.8, 41.6, 41.9, 41.9)):
            # The last is sent twice, as after a lost answer.
            for _ in range(1 + (i == 3)):
                answer = scale("POST", "/api/v1/presses/P07/scale", {"value": value, "mark": f"w{i}"})
        assert answer.json()["result"]["n"] == 4
        assert {one["source"] for one in answer.json()["readings"]} == {"scale"}
        assert scale("POST", "/api/v1/presses/P07/scale", {"value": "41,8"}).status_code == 422
        other = here.key(press="P08", scopes=("act",))
        assert other("POST", "/api/v1/presses/P07/scale", {"value": 41.8}).status_code == 403
        reader = here.key(press="P07", scopes=("read",))
        assert reader("POST", "/api/v1/presses/P07/scale", {"value": 41.8}).status_code == 403


def test_a_study_from_its_first_weight_to_its_verdict(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        sheet = begin(engineer).json()
        path = f"/api/v1/presses/P07/sheets/{sheet['id']}"
        engineer("POST", f"{path}/readings", {"values": [41.8, 41.6, 41.9, 418.0], "source": "pasted"})
        back = engineer("DELETE", f"{path}/readings/4").json()
        assert [one["withdrawn_by"] for one in back["readings"]] == ["", "", "", "eva"]
        (listed,) = engineer("GET", "/api/v1/presses/P07/sheets?state=open").json()["items"]
        assert listed["id"] == sheet["id"]
        kept = engineer("POST", f"{path}/keep", {"note": "before the change"}).json()
        study = engineer("GET", f"/api/v1/presses/P07/studies/{kept['id']}").json()
        assert study["asked"]["weights_g"] == [41.8, 41.6, 41.9]
        assert (study["asked"]["note"], study["sheet"]) == ("before the change", sheet["id"])
        assert engineer("POST", f"{path}/keep").status_code == 409
        assert here.objects.woken == 1


def test_readings_of_a_drift_check_come_from_a_file(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        sheet = begin(engineer, "drift-check", resin="pp", method="frozen_gate", pressure_bar=500).json()
        lines = "\n".join(f"{2 * i};{30 - 0.04 * i:.2f}".replace(".", ",") for i in range(20))
        file = ("t_s;position_mm\n" + lines).encode()
        path = f"/api/v1/presses/P07/sheets/{sheet['id']}/file"
        answer = engineer("POST", path, content=file, headers={"Content-Type": "text/csv"}).json()
        assert abs(answer["result"]["creep_mm_s"] - 0.02) < 1e-6
        wrong = engineer("POST", path, content=b"0 30\n5 oil\n")
        assert wrong.status_code == 422
        assert "line 2" in wrong.json()["detail"]
        assert engineer("POST", path, content=b"\xff\xfe\x00").status_code == 415


def test_a_file_that_is_no_table_says_so() -> None:
    with pytest.raises(InvalidError, match="cannot be read as CSV"):
        read_csv(b"1;2\n" + b"9" * 200_000 + b";3\n")


def test_a_photo_is_handed_out_as_a_picture_and_nothing_else(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        body = {"press": "P07", "verdict": "worn", "confirmed": ["lock_out"]}
        study = engineer("POST", "/api/v1/studies/inspection", body).json()["id"]
        path = f"/api/v1/presses/P07/studies/{study}/photos"
        kept = engineer("POST", f"{path}?caption=scored%20ring", content=telling())
        assert (kept.status_code, kept.json()["caption"]) == (201, "scored ring")
        assert engineer("POST", path, content=b"<svg/>").status_code == 415
        shown = engineer("GET", f"{path}/1")
        assert shown.headers["content-type"] == "image/jpeg"
        assert shown.headers["x-content-type-options"] == "nosniff"
        assert "sandbox" in shown.headers["content-security-policy"]
        assert b"Heddle" not in shown.content
        viewer = here.person("vic", "viewer")
        assert viewer("GET", f"{path}/1").status_code == 200
        assert viewer("POST", path, content=picture()).status_code == 403
        assert viewer("DELETE", f"{path}/1").status_code == 403
        assert here.caller()("GET", f"{path}/1").status_code == 401
        other = here.key(press="P08", scopes=("read",))
        assert other("GET", f"{path}/1").status_code == 403
        assert engineer("DELETE", f"{path}/1").status_code == 200
        assert engineer("GET", f"{path}/1").status_code == 404


def test_a_photo_and_a_file_sent_again_with_their_key_are_kept_once(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        sheet = begin(engineer).json()
        file = f"/api/v1/presses/P07/sheets/{sheet['id']}/file"
        body = {"press": "P07", "verdict": "worn", "confirmed": ["lock_out"]}
        study = engineer("POST", "/api/v1/studies/inspection", body).json()["id"]
        photos_of = f"/api/v1/presses/P07/studies/{study}/photos"
        for path, content in ((file, b"41.8\n41.6\n41.9\n"), (photos_of, picture())):
            first, again = (
                engineer("POST", path, content=content, headers={"Idempotency-Key": path}) for _ in range(2)
            )
            assert first.status_code in (200, 201), first.text
            assert (again.status_code, again.json()) == (first.status_code, first.json())
        assert len(engineer("GET", file.removesuffix("/file")).json()["readings"]) == 3
        assert len(engineer("GET", photos_of).json()["items"]) == 1
        # What stands in the address is part of what is asked.
        path = f"{photos_of}?caption=another"
        other = engineer("POST", path, content=picture(), headers={"Idempotency-Key": photos_of})
        assert (other.status_code, other.json()["code"]) == (409, "conflict")


def test_an_inspection_keeps_measurements_with_their_uncertainty(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        engineer("PUT", "/api/v1/presses/P07/valve", {"nominal_clearance_mm": 0.08})
        asked = {
            "press": "P07", "verdict": "worn", "findings": ["scoring", "uneven_seat"],
            "measurements": [
                {"what": "ring_diameter_mm", "value_mm": 49.80, "instrument": "micrometer"},
                {"what": "bore_diameter_mm", "value_mm": 50.06, "instrument": "bore_gauge", "place": "back"},
                {"what": "bore_diameter_mm", "place": "front"},
            ],
        }  # fmt: skip
        kept = engineer("POST", "/api/v1/studies/inspection", asked).json()
        assert abs(kept["clearance_mm"] - 0.13) < 1e-9
        assert kept["against_nominal"] == "above"
        # sqrt(0.005^2 + 0.010^2) / 2
        assert abs(kept["clearance"]["uncertainty_mm"] - 0.00559) < 1e-5
        rust = engineer("POST", "/api/v1/studies/inspection", {**asked, "findings": ["rust"]})
        assert rust.status_code == 422
        both = {**asked, "findings": ["none", "crack"]}
        assert engineer("POST", "/api/v1/studies/inspection", both).json()["field"] == "findings"


def test_limits_are_set_by_who_may_set_drawing_limits(any_url: str) -> None:
    with plant(any_url) as here:
        engineer = a_press(here)
        lead = here.person("lea", "line_lead")
        limit = {"mold": "M-113", "process_class": "precise", "limit_pct": 1.5}
        assert lead("PUT", "/api/v1/weight-limits", limit).status_code == 403
        assert engineer("PUT", "/api/v1/weight-limits", limit).status_code == 200
        assert engineer("PUT", "/api/v1/weight-limits", {**limit, "mold": "M-9"}).status_code == 404
        assert engineer("PUT", "/api/v1/weight-limits", {**limit, "limit_pct": 0}).status_code == 422
        known = lead("GET", "/api/v1/weight-limits").json()
        assert known["items"] == [limit]
        assert known["starting_values"] == {"general": 5.0, "precise": 2.0, "no_hold": 1.0}
        assert begin(lead, process_class="precise").json()["asked"]["limit_pct"] == 1.5


def test_shots_do_not_wait_for_photos(sqlite_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    apart: list[bool] = []
    decode = photos.read_photo
    with plant(sqlite_url) as here:
        engineer = a_press(here)
        body = {"press": "P07", "verdict": "worn", "confirmed": ["lock_out"]}
        study = engineer("POST", "/api/v1/studies/inspection", body).json()["id"]

        def decoding(content: bytes) -> tuple[bytes, int, int]:
            # While a photo is decoded every thread of ingest is free.
            threads = here.objects.gate._threads
            apart.append(threads is None or threads.borrowed_tokens == 0)
            return decode(content)

        monkeypatch.setattr(photos, "read_photo", decoding)
        path = f"/api/v1/presses/P07/studies/{study}/photos"
        assert engineer("POST", path, content=picture()).status_code == 201
    assert apart == [True]
