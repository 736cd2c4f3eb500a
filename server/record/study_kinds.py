"""What each kind of study asks and how it is judged: read from what was sent, nothing kept here."""

import dataclasses
from collections.abc import Callable
from typing import Any, Final

import sqlalchemy as sa

from server.clock import as_text
from server.errors import InvalidError
from server.language import N_
from server.record.fields import Given, read_number, refuse
from server.record.press_studies import judge_qualification
from server.record.trials import gate_seal, setting_trial
from server.record.weight_limits import limit_for
from server.store.plant import Press
from server.store.records import valves_of
from server.valve.creep import drift_check
from server.valve.resins import METHODS, RESINS, check_method
from server.valve.studies import short_shot_study
from server.valve.wear import (
    FINDINGS,
    INSTRUMENTS,
    MEASURED,
    Clearance,
    Measured,
    against_nominal,
    clearance_of,
)
from server.valve.weights import PROCESS_CLASSES, compare_with_hold
from server.words.catalogue import shared_entries

POINTS_MAX: Final = 2_000


@dataclasses.dataclass(frozen=True)
class Asking:
    """Of which press and mold a study is, when, and by whom."""

    connection: sa.Connection
    press: Press
    mold: str
    who: str
    now_ms: int


@dataclasses.dataclass(frozen=True)
class Judged:
    """What was asked, what came out."""

    asked: dict[str, Any]
    result: dict[str, Any]
    verdict: str


Judge = Callable[[Given, Asking], Judged]


def read_confirmed(given: Given, asking: Asking) -> dict[str, Any]:
    """Cautions somebody confirmed, with name and time; {} where none were sent."""
    if not given.has("confirmed"):
        return {}
    value = given.body["confirmed"]
    known = shared_entries("cautions")
    if not isinstance(value, list) or not all(one in known for one in value):
        raise refuse("confirmed", value, N_("a list of {join}", join=", ".join(known)))
    return {"confirmed": {"cautions": value, "by": asking.who, "at": as_text(asking.now_ms)}}


def short_shot(given: Given, asking: Asking) -> Judged:
    weights = given.numbers("weights_g", least=3, most=POINTS_MAX)
    process = "general"
    if given.has("process_class"):
        process = given.choice("process_class", tuple(PROCESS_CLASSES))
    limit = given.number("limit_pct", above=0.0, most=100.0)
    if limit is None:
        limit = limit_for(asking.connection, asking.mold, process)
    found = short_shot_study(weights, limit_pct=limit)
    asked: dict[str, Any] = {"weights_g": weights, "limit_pct": limit, "process_class": process}
    result = dataclasses.asdict(found)
    if given.has("hold_weights_g"):
        asked["hold_weights_g"] = given.numbers("hold_weights_g", least=3, most=POINTS_MAX)
        paired = compare_with_hold(weights, hold_g=asked["hold_weights_g"])
        result["hold"] = dataclasses.asdict(paired)
        result["text"] += f" {paired.text}"
    return Judged(asked, result, found.verdict)


def drift(given: Given, asking: Asking) -> Judged:
    given.need("pressure_bar")
    pressure = given.number("pressure_bar", above=0.0, most=10_000.0)
    assert pressure is not None
    asked: dict[str, Any] = read_way(given)
    if asked.get("method") == "rated_plug":
        read_plug(given, asked, pressure_bar=pressure)
    points = pairs_of(given, "samples", ("t_s", "position_mm"), least=3)
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
        screw_diameter_mm=asking.press.screw_diameter_mm,
        **extra,
    )
    samples = [{"t_s": t, "position_mm": p} for t, p in points]
    return Judged(
        {"pressure_bar": pressure, "samples": samples, **extra, **asked},
        dataclasses.asdict(found),
        found.verdict,
    )


def read_way(given: Given) -> dict[str, Any]:
    """Resin and method of a drift check; a plug with a resin that gasses is refused with the reason."""
    asked: dict[str, Any] = {}
    if given.has("resin"):
        asked["resin"] = given.choice("resin", tuple(RESINS))
    if given.has("method"):
        asked["method"] = given.choice("method", tuple(METHODS))
        if asked["method"] == "rated_plug" and "resin" not in asked:
            raise InvalidError(
                N_("resin is missing: it decides whether a nozzle may be blocked at all"), field="resin"
            )
        check_method(asked["method"], resin=asked.get("resin", "unknown"))
    return asked


def read_plug(given: Given, asked: dict[str, Any], *, pressure_bar: float) -> None:
    rated = given.number("plug_rated_bar", above=0.0, most=10_000.0)
    if rated is None:
        raise InvalidError(
            N_("plug_rated_bar is missing: a plug is used only below the pressure it is rated for"),
            field="plug_rated_bar",
        )
    if pressure_bar > rated:
        raise refuse(
            "pressure_bar", pressure_bar, N_("at most what the plug is rated for, {rated:g} bar", rated=rated)
        )
    asked["plug_rated_bar"] = rated


def inspection(given: Given, asking: Asking) -> Judged:
    asked: dict[str, Any] = {
        name: given.number(name, above=0.0, most=1_000.0)
        for name in ("ring_diameter_mm", "bore_diameter_mm", "ring_travel_mm")
    }
    if given.text("seat_contact"):
        asked["seat_contact"] = given.choice("seat_contact", ("full", "partial", "none"))
    measured = _measured(given)
    if measured:
        asked["measurements"] = [dataclasses.asdict(one) for one in measured]
    asked |= _findings(given)
    verdict = given.choice("verdict", ("good", "worn", "failed"))
    plain = [
        Measured(name, asked[name], INSTRUMENTS["other"][1] if measured else 0.0, "other")
        for name in ("ring_diameter_mm", "bore_diameter_mm")
        if asked[name] is not None
    ]
    clearance = clearance_of([*measured, *plain])
    words = {"good": "The valve still does its job.", "worn": "Worn, still usable.", "failed": "It failed."}
    result: dict[str, Any] = {"clearance_mm": None if clearance is None else clearance.clearance_mm}
    text = words[verdict]
    if clearance is not None:
        result["clearance"] = dataclasses.asdict(clearance)
        text += _clearance_text(clearance, asking, result)
    return Judged(asked, {**result, "text": text}, verdict)


def _clearance_text(clearance: Clearance, asking: Asking, result: dict[str, Any]) -> str:
    give = f" ± {clearance.uncertainty_mm:.3f}" if clearance.uncertainty_mm else ""
    text = f" Clearance {clearance.clearance_mm:.3f}{give} mm a side."
    fitted = [one for one in valves_of(asking.connection, asking.press.press_id) if one.removed_ms is None]
    nominal = fitted[0].nominal_clearance_mm if fitted else None
    if nominal is not None:
        apart = against_nominal(clearance, nominal_mm=nominal)
        result["nominal_mm"], result["against_nominal"] = nominal, apart
        text += {
            "above": f" More than the {nominal:g} mm it was made with.",
            "below": f" Less than the {nominal:g} mm on record: is the record right?",
            "not_shown": f" No difference from the {nominal:g} mm it was made with can be shown.",
        }[apart]
    return text


def _measured(given: Given) -> list[Measured]:
    if not given.has("measurements"):
        return []
    found = []
    for i, row in enumerate(given.rows("measurements", least=0, most=200)):
        one = Given.of(row, known=("what", "value_mm", "instrument", "uncertainty_mm", "place"))
        if not one.has("value_mm"):
            continue
        what, instrument = one.choice("what", tuple(MEASURED)), "other"
        if one.text("instrument"):
            instrument = one.choice("instrument", tuple(INSTRUMENTS))
        told = one.number("uncertainty_mm", least=0.0, most=10.0)
        value = read_number(f"measurements[{i}].value_mm", one.body["value_mm"], above=0.0, most=1_000.0)
        found.append(
            Measured(
                what,
                value,
                INSTRUMENTS[instrument][1] if told is None else told,
                instrument,
                one.text("place", longest=40),
            )
        )
    return found


def _findings(given: Given) -> dict[str, Any]:
    if not given.has("findings"):
        return {}
    value = given.body["findings"]
    if not isinstance(value, list) or not all(one in FINDINGS for one in value):
        raise refuse("findings", value, N_("a list of {join}", join=", ".join(FINDINGS)))
    if "none" in value and len(value) > 1:
        raise refuse("findings", value, N_("'none' alone, or what was found without it"))
    return {"findings": sorted(set(value))}


def trial(given: Given, asking: Asking) -> Judged:
    given.need("setting", "levels")
    levels = [Given.of(level, known=("value", "values")) for level in given.rows("levels", least=2, most=12)]
    values = [level.numbers("values", least=3, most=POINTS_MAX) for level in levels]
    names = [level.text("value", longest=40) for level in levels]
    found = setting_trial(values)
    asked = {
        "setting": given.text("setting"),
        "response": given.text("response", longest=40),
        "levels": [{"value": n, "values": v} for n, v in zip(names, values, strict=True)],
    }
    return Judged(asked, dataclasses.asdict(found), found.verdict)


def seal(given: Given, asking: Asking) -> Judged:
    points = pairs_of(given, "points", ("hold_time_s", "weight_g"), least=5)
    found = gate_seal([t for t, _ in points], [weight for _, weight in points])
    asked = {"points": [{"hold_time_s": t, "weight_g": w} for t, w in points]}
    return Judged(asked, dataclasses.asdict(found), found.verdict)


def qualification(given: Given, asking: Asking) -> Judged:
    given.need("mold")
    found = judge_qualification(given, asking.press)
    return Judged(found.asked, found.result, found.verdict)


def pairs_of(given: Given, name: str, keys: tuple[str, str], *, least: int) -> list[tuple[float, float]]:
    pairs = []
    for i, row in enumerate(given.rows(name, least=least, most=POINTS_MAX)):
        one = [read_number(f"{name}[{i}].{key}", row.get(key)) for key in keys]
        pairs.append((one[0], one[1]))
    return pairs


STUDIES: Final[dict[str, tuple[tuple[str, ...], Judge]]] = {
    "short-shot": (("weights_g", "limit_pct", "process_class", "hold_weights_g"), short_shot),
    "drift-check": (
        ("pressure_bar", "samples", "viscosity_pa_s", "land_mm", "resin", "method", "plug_rated_bar"),
        drift,
    ),
    "inspection": (
        (
            "ring_diameter_mm",
            "bore_diameter_mm",
            "ring_travel_mm",
            "seat_contact",
            "verdict",
            "measurements",
            "findings",
        ),
        inspection,
    ),
    "setting-trial": (("setting", "response", "levels"), trial),
    "gate-seal": (("points",), seal),
    "qualification": (
        ("checks", "verdict", "measured", "balance", "melt_density_g_cm3", "studies"),
        qualification,
    ),
}
