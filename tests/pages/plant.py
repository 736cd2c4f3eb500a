"""An invented plant in a SQLite file, made without evaluation: what pages read, written by hand."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from server.contract import CAUSES, SHOT_COLUMNS
from server.store import tables as t
from server.store.database import Store
from server.store.engine import upgrade
from server.store.plant import Setup, keep_setup, put_mold, put_press, put_settings, setup_digest
from server.store.shots import store_shots
from server.valve.evidence import FACTS
from server.valve.recalibration import KEPT_TERMS

DAY = 86_400_000
#: Wednesday 18 November 2026, 13:22 UTC.
NOW = 1_795_008_120_000
CYCLE_MS = 60_000
SHOTS = 2_000

PRESSES = (
    ("P07", "Thistle", "Hall B", "M-113"),
    ("P11", "Plover", "Hall B", "M-140"),
    ("P02", "Heron", "Hall A", "M-127"),
    ("P03", "Bramble", "Hall A", "M-113"),
    ("P05", "Teasel", "Hall A", "M-113"),
    ("P09", "Wren", "Hall B", "M-118"),
    ("Q 01 ä+b", "", "Hall A", "M-118"),
)
MOLDS = {"M-113": "latch cover", "M-140": "drip tray", "M-127": "spool flange", "M-118": "lid"}

_NAN = math.nan


def make_plant(folder: Path) -> Store:
    """A plant with a leaking press, one that closes late, a silent one and one nobody has judged."""
    url = f"sqlite:///{folder / 'pages.db'}"
    upgrade(url)
    store = Store(url)
    store.write(_fill)
    return store


def make_empty(folder: Path) -> Store:
    url = f"sqlite:///{folder / 'empty.db'}"
    upgrade(url)
    return Store(url)


def _fill(connection: sa.Connection) -> None:
    put_settings(connection, {"plant_name": "Ottermoor Works", "time_zone": "Europe/Berlin"})
    for mold, part in MOLDS.items():
        limits = {"part_weight_g": {"lower": 41.2, "upper": 42.4, "target": 41.8}} if mold == "M-113" else {}
        put_mold(connection, mold, {"part": part, "cavities": 4, "limits": json.dumps(limits)}, now_ms=NOW)
    for number, (press, name, area, mold) in enumerate(PRESSES, start=1):
        put_press(connection, press, {"name": name, "area": area, "screw_diameter_mm": 50.0}, now_ms=NOW)
        _press(connection, number, press, mold)
    _people_work(connection)


def _press(connection: sa.Connection, number: int, press: str, mold: str) -> None:
    rng = np.random.default_rng(number)
    wear = np.clip(np.linspace(-1.0, 1.0, SHOTS), 0, None) if press == "P07" else np.zeros(SHOTS)
    setup_id = setup_digest(mold, "PP-DEMO", "", "{}")
    keep_setup(connection, Setup(number, setup_id, mold, "PP-DEMO", "", "{}", NOW - 30 * DAY))
    end = NOW - (7_200_000 if press == "P09" else 4_000 * number)
    at = end - CYCLE_MS * np.arange(SHOTS - 1, -1, -1)
    raised = np.where(np.arange(SHOTS) > 0.8 * SHOTS, 1.4, 0.0) if press == "P07" else np.zeros(SHOTS)
    size = 80.0 + raised + rng.normal(0, 0.04, SHOTS)
    low = rng.random(SHOTS) < (0.07 if press == "P11" else 0.0)
    cushion = size - 74.0 - 3.6 * wear - 1.5 * low + rng.normal(0, 0.05, SHOTS)
    values = {
        "shot_size_mm": np.round(size, 2),
        "cushion_mm": np.round(cushion, 2),
        "transfer_position_mm": np.full(SHOTS, 16.0),
        "peak_pressure_bar": np.round(1128.0 - 9 * wear + rng.normal(0, 4, SHOTS)),
        "fill_time_s": np.round(1.4 + rng.normal(0, 0.004, SHOTS), 3),
        "recovery_time_s": np.round(6.0 + rng.normal(0, 0.05, SHOTS), 2),
        "cycle_time_s": np.full(SHOTS, 60.0),
        "part_weight_g": np.round(41.8 - 0.45 * wear + rng.normal(0, 0.1, SHOTS), 2),
    }
    rows = [
        (int(at[i]), i, setup_id, *(_cell(values, name, i, at, end) for name in SHOT_COLUMNS))
        for i in range(SHOTS)
    ]
    store_shots(connection, number, rows)
    _judge(connection, number, press, mold, end)


def _cell(values: dict[str, Any], name: str, i: int, at: Any, end: int) -> Any:
    if name in values:
        return float(values[name][i])
    return {"lot": "B4", "box": f"{2150 + i // 25}"}.get(name)


def _judge(connection: sa.Connection, number: int, press: str, mold: str, end: int) -> None:
    shares = {"P07": 0.93, "P11": 0.64, "P02": 0.21, "Q 01 ä+b": None}
    share = shares.get(press, 0.04)
    state: dict[str, Any] = {
        "last_shot_ms": end, "last_counter": SHOTS - 1, "last_arrival_ms": end, "evaluated_ms": end,
        "mold": mold, "material": "PP-DEMO", "lot": "B4", "box": "2231",
    }  # fmt: skip
    if share is not None:
        log_odds = math.log(share / (1 - share))
        state |= {
            "baseline_no": 1, "leak_status": "ok", "score_ms": end, "log_odds": log_odds,
            "prior_log_odds": -2.94, "terms": _terms(log_odds + 2.94), "causes": _causes(press, share),
            "facts": _facts(press), "missing": "",
        }  # fmt: skip
        _record(connection, number, mold)
        _scores(connection, number, press, share)
    connection.execute(sa.update(t.press_states).where(t.press_states.c.press_id == number).values(**state))


def _terms(total: float) -> bytes:
    weights = {"swept_level": 0.55, "swept_scatter": 0.25, "slow_drift": 0.3, "recovery": -0.1}
    return np.array([weights.get(term, 0.0) * total for term in KEPT_TERMS], dtype="<f8").tobytes()


def _causes(press: str, share: float) -> bytes:
    leading = {"P07": "steady_leak", "P11": "erratic_closing"}.get(press, "steady_leak")
    other = "setting_change" if press == "P02" else "sealing"
    values = {leading: share, other: (1 - share) * 0.9, "unexplained": (1 - share) * 0.1}
    return np.array([values.get(cause, 0.0) for cause in CAUSES], dtype="<f8").tobytes()


def _facts(press: str) -> bytes:
    values = dict.fromkeys(FACTS, _NAN) | {
        "swept_rise_mm": 0.02, "swept_rise_pct": 0.03, "swept_noise_pct": 0.15, "swept_scatter": 1.02,
        "swept_slope_pct": 0.02, "swept_slope_noise_pct": 0.15, "peak_change_pct": 0.1, "peak_scatter": 1.0,
        "fill_change_pct": 0.1, "recovery_scatter": 1.0, "recovery_change_pct": 0.2, "shot_size_scatter": 1.0,
        "low_per_100": 0.1, "low_per_100_long": 0.1, "swept_last_pct": 0.0, "cushion_change_mm": 0.0,
        "shot_size_change_mm": 0.0, "weight_change_pct": 0.0, "weight_noise_pct": 0.1,
    }  # fmt: skip
    if press == "P07":
        values |= {
            "swept_rise_mm": 3.6, "swept_rise_pct": 4.8, "swept_scatter": 1.9, "swept_slope_pct": 2.1,
            "cushion_change_mm": -2.2, "shot_size_change_mm": 1.4, "peak_change_pct": -0.8,
        }  # fmt: skip
    if press == "P11":
        values |= {"low_per_100": 7.1, "low_per_100_long": 7.1, "swept_scatter": 2.4}
    return np.array([values[name] for name in FACTS], dtype="<f8").tobytes()


def _record(connection: sa.Connection, number: int, mold: str) -> None:
    signals = {
        name: {
            "center": center, "sigma": sigma, "lower": center - 3 * sigma, "upper": center + 3 * sigma,
            "n": 190, "excluded": [[0, "warm_up"], [1, "warm_up"], [77, "outlier"]],
        }
        for name, center, sigma in (
            ("swept_mm", 74.0, 0.05), ("cushion_mm", 6.0, 0.065), ("shot_size_mm", 80.0, 0.04),
            ("peak_pressure_bar", 1128.0, 4.0), ("fill_time_s", 1.4, 0.004),
            ("recovery_s_per_mm", 0.0811, 0.0007), ("part_weight_g", 41.8, 0.1),
        )
    }  # fmt: skip
    connection.execute(
        sa.insert(t.baselines).values(
            press_id=number, baseline_no=1, mold=mold, material="PP-DEMO", from_ms=NOW - 31 * DAY,
            to_ms=NOW - 30 * DAY, shots=200, state="approved",
            signals=json.dumps({"signals": signals, "dose_lag": 0, "cycle_ms": 60_000.0}),
            note="after the new mold start", captured_by="ada.lindqvist", captured_ms=NOW - 30 * DAY,
            approved_by="ada.lindqvist", approved_ms=NOW - 30 * DAY,
        )
    )  # fmt: skip


def _scores(connection: sa.Connection, number: int, press: str, share: float) -> None:
    top = math.log(share / (1 - share))
    rows = []
    for step in range(120):
        rising = max(0.0, (step - 60) / 60) if press in ("P07", "P11") else 1.0
        rows.append(
            {
                "press_id": number, "at_ms": NOW - 30 * DAY + step * DAY // 4, "counter": step,
                "model_version": "test", "ordinal": step, "baseline_no": 1,
                "log_odds": -3.2 + (top + 3.2) * rising, "prior_log_odds": -2.94,
                "terms": b"", "causes": b"", "facts": b"",
            }
        )  # fmt: skip
    connection.execute(sa.insert(t.scores), rows)


def _people_work(connection: sa.Connection) -> None:
    alarms = (
        (1, 1, "leak", "unacknowledged", "now", "steady_leak", NOW - DAY),
        (2, 1, "leak", "unacknowledged", "this_shift", "erratic_closing", NOW - 5_000_000),
        (6, 1, "silent", "acknowledged", "this_week", "", NOW - 6_000_000),
    )
    for press_id, no, kind, state, urgency, cause, since in alarms:
        answered = {"acknowledged_by": "ines.okafor", "acknowledged_ms": NOW - 900_000, "reason": "planned"}
        connection.execute(
            sa.insert(t.alarms).values(
                press_id=press_id, alarm_no=no, kind=kind, state=state, urgency=urgency, cause=cause,
                opened_ms=since, since_ms=since, active=True, open_mark=1,
                **(answered if state == "acknowledged" else {}),
            )
        )  # fmt: skip
    finding = {
        "press_id": 1, "rule": "beyond_limit", "baseline_no": 1, "to_counter": SHOTS, "marks": 800,
    }  # fmt: skip
    start = NOW - SHOTS * CYCLE_MS // 2
    connection.execute(
        sa.insert(t.findings),
        [
            {**finding, "from_ms": start, "from_counter": 1000, "signal": "swept_mm", "to_ms": NOW - 4_000},
            {**finding, "from_ms": start + 3_600_000, "from_counter": 1060, "signal": "cushion_mm",
             "to_ms": NOW - 24_000_000},
        ],
    )  # fmt: skip
    event = {"press_id": 1, "recorded_ms": NOW, "author": "ada.lindqvist"}
    connection.execute(
        sa.insert(t.events),
        [
            {**event, "at_ms": NOW - 90_000_000, "event_no": 1, "kind": "lot", "lot": "B4", "setting": "",
             "from_value": "", "to_value": ""},
            {**event, "at_ms": NOW - int(0.2 * SHOTS) * CYCLE_MS, "event_no": 2, "kind": "top_up", "lot": "",
             "setting": "", "from_value": "80.0", "to_value": "81.4"},
        ],
    )  # fmt: skip
    connection.execute(
        sa.insert(t.valves).values(
            press_id=1, valve_no=1, fitted_ms=NOW - 200 * DAY, style="sliding_ring", part_number="RV-50-3",
            shots_before=408_000, author="ada.lindqvist",
        )
    )  # fmt: skip
    connection.execute(
        sa.insert(t.studies).values(
            press_id=1, study_no=1, kind="short-shot", at_ms=NOW - DAY, mold="M-113", asked="{}",
            result=json.dumps({"text": "Fill does not repeat. Weights vary by 7.1 % over 10 shots."}),
            verdict="over", author="ines.okafor",
        )
    )  # fmt: skip
    connection.execute(
        sa.insert(t.quarantine).values(
            press="P99", row_id=1, arrived_ms=NOW - 60_000, kind="unknown_press", code="unknown_press",
            message="press P99 is not in the plant", raw='{"counter": 1}', replayable=True,
        )
    )  # fmt: skip
