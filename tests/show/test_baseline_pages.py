"""Pages of startup records, built from stored shots: what is left out in few lines, doubts said."""

import numpy as np

from server.record import baselines
from server.show.build_baseline_report import build_baseline_report
from server.show.build_baselines import build_baselines
from server.show.build_compare import build_compare
from server.show.build_studies import build_study
from server.show.frame import Actor
from server.show.plant_words import plant_at
from tests.notify.plants import HOUR, MORNING, press_named, scratch
from tests.record.asking import NOW
from tests.record.shots import CYCLE_MS, made
from tests.record.test_baseline_advice import shifted
from tests.record.test_sheets import pressing, qualified

PRESS = "P-07 Ä+"


def test_a_restart_is_one_line_and_a_bad_part_in_it_another() -> None:
    with scratch() as connection:
        press = press_named(connection, PRESS)
        made(connection, press, 100, start_ms=MORNING)
        second = MORNING + 100 * CYCLE_MS + HOUR
        made(connection, press, 160, start_ms=second, seed=8, quality={20: "short"})
        body = {"mold": "M-113", "last_shots": 260}
        baselines.capture_baseline(connection, press, body, who="eda", now_ms=NOW)
        plant = plant_at(connection, now_ms=NOW, actor=Actor())
        page = build_baseline_report(connection, plant, press=PRESS, number=1)
        assert page is not None
        shots = [(row.shot, row.reason) for row in page.left_out if row.signals == "every signal"]
        assert ("101 to 120, 20 shots (counter 1 to 20)", "after a restart") in shots
        assert ("121 (counter 21)", "parts not good") in shots
        assert ("122 to 140, 19 shots (counter 22 to 40)", "after a restart") in shots
        assert build_baseline_report(connection, plant, press=PRESS, number=9) is None
        (swept, *_) = page.drawn
        assert swept.signal == "Swept stroke"
        assert "Record 1: 220 shots, middle 74." in swept.says


def test_a_stretch_that_moved_says_so_before_it_is_approved_and_not_after() -> None:
    with scratch() as connection:
        press = press_named(connection, PRESS)
        made(connection, press, 30, start_ms=MORNING)
        shifted(connection, press, 240, start_ms=MORNING + 30 * CYCLE_MS, by=np.linspace(0.0, 0.3, 240))
        body = {"mold": "M-113", "last_shots": 200}
        baselines.capture_baseline(connection, press, body, who="eda", now_ms=NOW)
        plant = plant_at(connection, now_ms=NOW, actor=Actor())
        page = build_baselines(connection, plant, press=PRESS)
        assert page is not None
        (row,) = page.rows
        assert "Not stable: swept stroke moved during this stretch." in row.verdict
        assert "Find out why before you approve it" in row.verdict
        baselines.approve(connection, press, 1, who="eda", now_ms=NOW, body={"note": "trial"})
        page = build_baselines(connection, plant, press=PRESS)
        assert page is not None
        assert "Find out why" not in page.rows[0].verdict
        assert any("approved by eda" in line and "trial" in line for line in page.rows[0].who)


def test_a_record_against_itself_differs_in_nothing_and_what_is_unknown_falls_back() -> None:
    with scratch() as connection:
        press = press_named(connection, PRESS)
        made(connection, press, 300, start_ms=MORNING)
        body = {"mold": "M-113", "last_shots": 200, "approve": True}
        baselines.capture_baseline(connection, press, body, who="eda", now_ms=NOW)
        plant = plant_at(connection, now_ms=NOW, actor=Actor())
        page = build_compare(connection, plant, press=PRESS, first="1", second="1")
        assert page is not None
        assert page.answer == f"On {PRESS} no signal differs by more than chance."
        assert {row.clear for row in page.rows} == {""}
        page = build_compare(connection, plant, press=PRESS, first="x", second="y")
        assert page is not None
        assert page.answer == f"Nothing to compare on {PRESS}: no settled shots since the record."
        assert build_compare(connection, plant, press="P-99", first="", second="") is None


def test_a_record_and_the_qualification_kept_with_it_lead_to_each_other() -> None:
    with scratch() as connection:
        press = pressing(connection)
        made(connection, press, 100, start_ms=NOW - HOUR)
        body = {"mold": "M-113", "last_shots": 80, "approve": True}
        for _ in range(2):
            baselines.capture_baseline(connection, press, body, who="eda", now_ms=NOW)
        number = qualified(connection, press).study_no
        plant = plant_at(connection, now_ms=NOW, actor=Actor())
        page = build_baselines(connection, plant, press=press.press)
        report = build_baseline_report(connection, plant, press=press.press, number=2)
        study = build_study(connection, plant, press=press.press, number=number or 0)
        assert page is not None
        assert report is not None
        assert study is not None
        at = f"/presses/{press.press}"
        hrefs = {row.no: row.qualification_href for row in page.rows}
        assert hrefs == {1: "", 2: f"{at}/studies/{number}"}
        assert report.qualification_href == f"{at}/studies/{number}"
        assert study.record_href == f"{at}/baselines/2"
