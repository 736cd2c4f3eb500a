"""Off-line studies: what was asked is checked, judged, and kept with what came out."""

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.errors import InvalidError
from server.record.fields import Given, read_number
from server.record.trials import gate_seal, setting_trial
from server.store import intake
from server.store.audit import add_audit
from server.store.plant import Press, need_press
from server.store.records import CHECKS, Study, add_study
from server.valve.studies import drift_check, short_shot_study

#: The kinds, as they stand in the address.
KINDS: Final = ("short-shot", "drift-check", "inspection", "setting-trial", "gate-seal", "qualification")

_EVERY: Final = ("press", "mold", "at", "note")
_POINTS_MAX: Final = 2_000


@dataclasses.dataclass(frozen=True)
class _Judged:
    asked: dict[str, Any]
    result: dict[str, Any]
    verdict: str


_Judge = Callable[[Given, Press], _Judged]


def keep_study(connection: sa.Connection, kind: str, body: Any, *, who: str, now_ms: int) -> Study:
    """Judge a study of one kind and keep it; InvalidError names what cannot be taken."""
    fields, judge = _STUDIES[kind]
    given = Given.of(body, known=(*_EVERY, *fields))
    given.need("press")
    press = need_press(connection, given.text("press"))
    at_ms = given.at("at", now_ms=now_ms)
    judged = judge(given, press)
    study = add_study(
        connection,
        Study(
            press_id=press.press_id,
            study_no=0,
            kind=kind,
            at_ms=now_ms if at_ms is None else at_ms,
            mold=given.text("mold", longest=40),
            asked={**judged.asked, "note": given.note()},
            result=judged.result,
            verdict=judged.verdict,
            author=who,
        ),
    )
    if kind in CHECKS:
        # What a check found is part of the score from its moment on.
        intake.add(
            connection, press.press_id, earliest_ms=study.at_ms, shots=0, reason="rewrite", now_ms=now_ms
        )
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="study_kept",
        subject=f"{press.press} study {study.study_no}",
        after={"kind": kind, "verdict": study.verdict},
    )
    return study


def _short_shot(given: Given, press: Press) -> _Judged:
    weights = given.numbers("weights_g", least=3, most=_POINTS_MAX)
    limit = given.number("limit_pct", above=0.0, most=100.0)
    limit = 5.0 if limit is None else limit
    found = short_shot_study(weights, limit_pct=limit)
    asked = {"weights_g": weights, "limit_pct": limit}
    return _Judged(asked, dataclasses.asdict(found), found.verdict)


def _drift_check(given: Given, press: Press) -> _Judged:
    given.need("pressure_bar")
    pressure = given.number("pressure_bar", above=0.0, most=10_000.0)
    assert pressure is not None
    points = _pairs(given, "samples", ("t_s", "position_mm"), least=3)
    points.sort()
    extra = {
        name: value
        for name in ("viscosity_pa_s", "land_mm")
        if (value := given.number(name, above=0.0, most=1e6)) is not None
    }
    found = drift_check(
        [t for t, _ in points],
        [position for _, position in points],
        pressure_bar=pressure,
        screw_diameter_mm=press.screw_diameter_mm,
        **extra,
    )
    asked = {"pressure_bar": pressure, "samples": [{"t_s": t, "position_mm": p} for t, p in points], **extra}
    return _Judged(asked, dataclasses.asdict(found), found.verdict)


def _inspection(given: Given, press: Press) -> _Judged:
    asked: dict[str, Any] = {
        name: given.number(name, above=0.0, most=1_000.0)
        for name in ("ring_diameter_mm", "bore_diameter_mm", "ring_travel_mm")
    }
    if given.text("seat_contact"):
        asked["seat_contact"] = given.choice("seat_contact", ("full", "partial", "none"))
    verdict = given.choice("verdict", ("good", "worn", "failed"))
    ring, bore = asked["ring_diameter_mm"], asked["bore_diameter_mm"]
    clearance = None if ring is None or bore is None else (bore - ring) / 2.0
    if clearance is not None and clearance < 0.0:
        raise InvalidError(
            f"ring_diameter_mm is {ring:g}; it has to be at most bore_diameter_mm, which is {bore:g}",
            field="ring_diameter_mm",
        )
    words = {"good": "The valve still does its job.", "worn": "Worn, still usable.", "failed": "It failed."}
    text = words[verdict]
    if clearance is not None:
        text += f" Clearance {clearance:.3f} mm a side."
    return _Judged(asked, {"clearance_mm": clearance, "text": text}, verdict)


def _setting_trial(given: Given, press: Press) -> _Judged:
    given.need("setting", "levels")
    levels = [
        Given.of(level, known=("value", "values")) for level in given.rows("levels", least=2, most=12)
    ]
    values = [level.numbers("values", least=3, most=_POINTS_MAX) for level in levels]
    names = [level.text("value", longest=40) for level in levels]
    found = setting_trial(values)
    asked = {
        "setting": given.text("setting"),
        "response": given.text("response", longest=40),
        "levels": [{"value": n, "values": v} for n, v in zip(names, values, strict=True)],
    }
    return _Judged(asked, dataclasses.asdict(found), found.verdict)


def _gate_seal(given: Given, press: Press) -> _Judged:
    points = _pairs(given, "points", ("hold_time_s", "weight_g"), least=5)
    found = gate_seal([t for t, _ in points], [weight for _, weight in points])
    asked = {"points": [{"hold_time_s": t, "weight_g": w} for t, w in points]}
    return _Judged(asked, dataclasses.asdict(found), found.verdict)


def _qualification(given: Given, press: Press) -> _Judged:
    given.need("mold")
    checks: dict[str, str] = {}
    listed = given.body.get("checks", {})
    if not isinstance(listed, Mapping) or len(listed) > 100:
        raise InvalidError("checks has to be an object of at most 100 entries", field="checks")
    for name in listed:
        checks[str(name)[:80]] = Given(listed).choice(name, ("passed", "failed", "not_done"))
    verdict = given.choice("verdict", ("passed", "failed", "conditional"))
    failed = sorted(name for name, outcome in checks.items() if outcome == "failed")
    if verdict == "passed" and failed:
        raise InvalidError(
            f"verdict is 'passed' though these failed: {', '.join(failed)}", field="verdict"
        )
    text = {"passed": "Qualified.", "failed": "Not qualified.", "conditional": "Qualified with conditions."}
    return _Judged({"checks": checks}, {"failed": failed, "text": text[verdict]}, verdict)


def _pairs(given: Given, name: str, keys: tuple[str, str], *, least: int) -> list[tuple[float, float]]:
    pairs = []
    for i, row in enumerate(given.rows(name, least=least, most=_POINTS_MAX)):
        one = [read_number(f"{name}[{i}].{key}", row.get(key)) for key in keys]
        pairs.append((one[0], one[1]))
    return pairs


_STUDIES: Final[dict[str, tuple[tuple[str, ...], _Judge]]] = {
    "short-shot": (("weights_g", "limit_pct"), _short_shot),
    "drift-check": (("pressure_bar", "samples", "viscosity_pa_s", "land_mm"), _drift_check),
    "inspection": (
        ("ring_diameter_mm", "bore_diameter_mm", "ring_travel_mm", "seat_contact", "verdict"),
        _inspection,
    ),
    "setting-trial": (("setting", "response", "levels"), _setting_trial),
    "gate-seal": (("points",), _gate_seal),
    "qualification": (("checks", "verdict"), _qualification),
}
