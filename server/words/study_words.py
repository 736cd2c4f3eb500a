"""Words for the numbers of a study: what was asked, what came out, as pairs of name and text."""

from collections.abc import Mapping
from typing import Any, Final

from server.valve.press_checks import PRESS_CHECKS
from server.valve.resins import METHODS, RESINS
from server.valve.wear import FINDINGS
from server.words.numbers import fixed, number, percent

#: What a class of process is called.
PROCESS: Final[dict[str, str]] = {
    "general": "general parts",
    "precise": "precise parts",
    "no_hold": "parts without hold",
}
#: What a check that was judged came to.
OUTCOME: Final[dict[str, str]] = {
    "passed": "passed",
    "failed": "not passed",
    "undecided": "cannot tell yet: more readings",
    "not_done": "not done",
}
_NOT_STATED: Final[dict[str, str]] = {
    "resin": "the resin", "method": "how the way out was closed", "confirmed": "all cautions confirmed",
}  # fmt: skip
SEAT: Final[dict[str, str]] = {"full": "all around", "partial": "in parts", "none": "none"}

#: What drift checks at several screw positions tell.
POSITIONS: Final[dict[str, str]] = {
    "depends": "the creep depends on where the screw stands: a worn bore leaks so",
    "not_shown": "no difference shows: ring or seat leak everywhere alike",
    "too_near": "",
}

Facts = list[tuple[str, str]]


def between(interval: Any, places: int) -> str:
    """
    >>> between([0.794, 2.108], 2)
    '0.79 to 2.11'
    """
    return f"{fixed(float(interval[0]), places)} to {fixed(float(interval[1]), places)}"


def result_facts(kind: str, asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    """The numbers of a study as pairs; what an older study did not keep is left out."""
    makers = {"short-shot": _weights, "drift-check": _drift, "gate-seal": _seal, "inspection": _inspection}
    return makers[kind](asked, result) if kind in makers else []


def _weights(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    if "percent_variation" not in result:
        return []
    facts = [
        ("Percent variation", f"{fixed(result['percent_variation'], 2)} % (heaviest less lightest)"),
        ("Mean", f"{number(result['mean_g'], 5)} g"),
        ("Standard deviation", f"{number(result['sd_g'])} g, {_grams(result['sd_interval'])}"),
    ]
    if "cv_interval" in result:
        facts.append(("CV", f"{fixed(result['cv_pct'], 2)} %, {between(result['cv_interval'], 2)}"))
        facts.append(
            ("Allowed", f"CV {fixed(result['allowed_cv_pct'], 2)} %: {result['limit_pct']:g} % over"
                        f" {result['limit_shots']} shots")
        )  # fmt: skip
        facts.append(("True variation over the limit", percent(result["over_probability"])))
        if result.get("more_shots"):
            facts.append(("To settle it", f"about {result['more_shots']} more shots"))
    hold = result.get("hold")
    if hold:
        facts.append(
            ("Under hold", f"{hold['n_hold']} weights, CV {fixed(hold['cv_hold_pct'], 2)} %; without hold "
                           f"{number(hold['ratio'], 2)} times as much ({between(hold['ratio_interval'], 1)})")
        )  # fmt: skip
    return facts


def _grams(interval: Any) -> str:
    return f"{number(float(interval[0]))} to {number(float(interval[1]))}"


def _drift(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    facts = []
    if asked.get("method"):
        facts.append(("Against", METHODS.get(asked["method"], asked["method"])))
    if asked.get("resin"):
        resin = RESINS.get(asked["resin"])
        facts.append(("Resin", resin.name if resin else asked["resin"]))
    if "pressure_bar" in asked:
        facts.append(("Pressure", f"{asked['pressure_bar']:g} bar"))
    if result.get("not_stated"):
        facts.append(("Not stated", ", ".join(_NOT_STATED.get(one, one) for one in result["not_stated"])))
    if "creep_mm_s" not in result:
        return facts
    creep = f"{fixed(result['creep_mm_s'], 3)} mm/s, {between(result['creep_interval'], 3)}"
    facts.append(("Creep", creep))
    if result.get("leak_flow_cm3_s") is not None:
        flow = f"{fixed(result['leak_flow_cm3_s'], 3)} cm³/s"
        if result.get("leak_flow_interval"):
            flow += f", {between(result['leak_flow_interval'], 3)}"
        facts.append(("Leak flow", flow))
    if result.get("gap_mm") is not None:
        gap = f"{fixed(result['gap_mm'], 3)} mm"
        gap += f", {between(result['gap_interval'], 3)}" if result.get("gap_interval") else ""
        facts.append(("Equivalent gap", gap))
    if "settled_s" in result:
        facts.append(
            ("Left out as settling", f"{result['discarded']} readings before {number(result['settled_s'])} s,"
                                     f" {fixed(result['settling_mm'], 2)} mm: {result['settling_why']}")
        )  # fmt: skip
        facts.append(("Screw stood at", f"{fixed(result['position_mm'], 1)} mm"))
    return facts


def _seal(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    facts = []
    if result.get("seal_s") is not None:
        facts.append(("Gate seals at", f"{number(result['seal_s'])} s, {between(result['interval'], 2)}"))
        facts.append(("Part then weighs", f"{number(result['plateau_g'], 5)} g"))
    if "rise_g_per_s" in result:
        facts.append(("Before that it gains", f"{number(result['rise_g_per_s'])} g/s"))
    return facts


def _inspection(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    facts = []
    found = result.get("clearance")
    if found:
        give = f" ± {fixed(found['uncertainty_mm'], 3)}" if found["uncertainty_mm"] else ""
        facts.append(("Clearance a side", f"{fixed(found['clearance_mm'], 3)}{give} mm"))
        if found["ovality_mm"] is not None:
            facts.append(("Bore out of round or tapered", f"{fixed(found['ovality_mm'], 3)} mm"))
    if result.get("nominal_mm") is not None:
        facts.append(("Made with", f"{result['nominal_mm']:g} mm"))
    if asked.get("seat_contact"):
        facts.append(("Seat contact", SEAT[asked["seat_contact"]]))
    if asked.get("findings"):
        facts.append(("Found", "; ".join(FINDINGS[one] for one in asked["findings"])))
    return facts


def check_rows(result: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """The checks of a qualification as rows of a table: name, outcome, what was found, limit."""
    rows = []
    for name, one in (result.get("checks") or {}).items():
        title = PRESS_CHECKS[name].name if name in PRESS_CHECKS else name
        rows.append((title, OUTCOME[one["verdict"]], one["text"], f"{one['limit']:g} {one['unit']}"))
    balance = result.get("balance")
    if balance:
        rows.append(("Volume balance", "measured", balance["text"], "none"))
    return tuple(rows)
