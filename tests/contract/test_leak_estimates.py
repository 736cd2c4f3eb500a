"""How much leaks and until when, over HTTP: against what the history was made with."""

from typing import Any
from urllib.parse import quote

import pytest
import sqlalchemy as sa

from server.clock import as_text
from server.record.studies import keep_study
from server.record.valves import put_valve
from server.store.database import Store
from server.store.plant import need_press, put_settings
from tests.contract.reading_plant import (
    ALL,
    CYCLE,
    MOLD,
    NOW,
    ONSET,
    START,
    Plant,
    evaluate,
    fill,
    ramp,
    record,
)

LEAKING, SOUND = "P-leak", "P-sound"
END = START + ALL * CYCLE


def still(i: int) -> tuple[float, float]:
    """As at startup throughout."""
    return (0.05, 0.0)


@pytest.fixture
def plant(store: Store) -> Plant:
    for press, story in ((LEAKING, ramp), (SOUND, still)):

        def job(c: sa.Connection, press: str = press, story: Any = story) -> int:
            press_id = fill(c, press, ALL, story)
            record(c, press)
            return press_id

        evaluate(store, store.write(job))
    return Plant(store)


def leak_of(plant: Plant, press: str) -> Any:
    return plant.get(f"/presses/{quote(press, safe='')}/leak")


def test_the_loss_is_what_the_history_lost_and_its_interval_holds_it(plant: Plant) -> None:
    leak = leak_of(plant, LEAKING)["estimates"]["leak"]
    # The last 20 shots lost 0.006 mm more from shot to shot (reading_plant.ramp).
    lost = 0.006 * (ALL - ONSET - 10)
    low, high = leak["lost_mm_interval"]
    assert low < lost < high
    assert leak["lost_mm"] == pytest.approx(lost, abs=0.15)
    # 45 mm screw: 1.590 cm3 a millimetre.
    assert leak["lost_cm3"] == pytest.approx(leak["lost_mm"] * 1.5904, rel=1e-3)
    assert leak["missing"] == ["fill and hold time"]
    assert leak["gap_mm"] is None


def test_the_cushion_runs_out_when_the_history_would_have_it_run_out(plant: Plant) -> None:
    run_out = leak_of(plant, LEAKING)["estimates"]["run_out"]
    # 6 mm at startup; the screw counts as at its end at 0.3 mm.
    shots = (6.0 - 0.3) / 0.006 - (ALL - ONSET)
    at = END + shots * CYCLE
    assert run_out["from"] < as_text(round(at)) < run_out["to"]
    assert run_out["shots"] == pytest.approx(shots, rel=0.15)
    assert run_out["per_1000_shots_mm"] == pytest.approx(6.0, rel=0.15)
    assert run_out["cushion_mm"] == pytest.approx(6.0 - 0.006 * (ALL - ONSET), abs=0.25)


def test_a_sound_press_says_why_neither_is_estimated(plant: Plant) -> None:
    estimates = leak_of(plant, SOUND)["estimates"]
    assert estimates["leak"] == {"reason": "a leak is not the likelier story"}
    assert set(estimates["run_out"]) == {"reason"}


def test_checks_and_age_are_part_of_the_prior_and_named_with_their_share(plant: Plant) -> None:
    store = plant.objects.store
    before = leak_of(plant, SOUND)

    def job(c: sa.Connection) -> int:
        press = need_press(c, SOUND)
        put_settings(c, {"valve_life_shots": 1_000_000.0})
        body = {"fitted_at": as_text(START - 1), "shots_before": 900_000}
        put_valve(c, press, body, who="open", now_ms=NOW)
        samples = [{"t_s": t, "position_mm": 30.0 - 0.5 * t} for t in range(20)]
        asked = {"press": SOUND, "mold": MOLD, "pressure_bar": 500, "samples": samples}
        asked["at"] = as_text(START + 700 * CYCLE)
        keep_study(c, "drift-check", asked, who="open", now_ms=NOW)
        return press.press_id

    evaluate(store, store.write(job))
    after = leak_of(plant, SOUND)
    parts = {one["signal"]: one for one in after["evidence"]}
    assert list(parts)[:3] == ["prior", "valve_age", "drift-check"]
    assert parts["valve_age"]["log_odds"] > 0.5
    # Ages count in whole hundreds.
    assert "900,800 shots" in parts["valve_age"]["text"]
    assert parts["drift-check"]["log_odds"] > 2
    assert parts["drift-check"]["text"] == "Drift check 1, about 100 shots ago, speaks for a leak"
    known = [parts[name]["log_odds"] for name in ("prior", "valve_age", "drift-check")]
    assert after["prior_log_odds"] == pytest.approx(sum(known), abs=1e-12)
    assert sum(one["log_odds"] for one in after["evidence"]) == pytest.approx(after["log_odds"], abs=1e-9)
    assert after["likelihood"] > before["likelihood"]
    # The check speaks from its moment on, not before.
    history = plant.get(f"/presses/{SOUND}/leak/history?limit=1000")["items"]
    early = [one["prior_log_odds"] for one in history if one["counter"] < 700]
    late = [one["prior_log_odds"] for one in history if one["counter"] > 705]
    assert max(early) < min(late) - 1.5
