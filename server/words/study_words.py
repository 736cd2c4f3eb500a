"""Words for the numbers of a study: what was asked, what came out, as pairs of name and text."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from server.language import N_, Measured, _
from server.valve.press_checks import PRESS_CHECKS
from server.valve.resins import METHODS, RESINS
from server.valve.wear import FINDINGS
from server.words.numbers import fixed, number, percent

#: What a class of process is called.
PROCESS: Final[dict[str, str]] = {
    "general": N_("general parts"),
    "precise": N_("precise parts"),
    "no_hold": N_("parts without hold"),
}
#: What a check that was judged came to.
OUTCOME: Final[dict[str, str]] = {
    "passed": N_("passed"),
    "failed": N_("not passed"),
    "undecided": N_("cannot tell yet: more readings"),
    "not_done": N_("not done"),
}
_NOT_STATED: Final[dict[str, str]] = {
    "resin": N_("the resin"),
    "method": N_("how the way out was closed"),
    "confirmed": N_("all cautions confirmed"),
}
SEAT: Final[dict[str, str]] = {"full": N_("all around"), "partial": N_("in parts"), "none": N_("none")}

#: What drift checks at several screw positions tell.
POSITIONS: Final[dict[str, str]] = {
    "depends": N_("the creep depends on where the screw stands: a worn bore leaks so"),
    "not_shown": N_("no difference shows: ring or seat leak everywhere alike"),
    "too_near": "",
}

Facts = list[tuple[str, str]]


def between(interval: Any, places: int) -> str:
    """
    >>> between([0.794, 2.108], 2)
    '0.79 to 2.11'
    """
    return _(
        "{float} to {float_2}",
        float=fixed(float(interval[0]), places),
        float_2=fixed(float(interval[1]), places),
    )


def _reach(quantity: str, interval: Sequence[float]) -> str:
    low, high = (Measured(quantity, float(end), 3) for end in interval)
    return _("{low} to {high}", low=low, high=high)


def result_facts(kind: str, asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    """The numbers of a study as pairs; what an older study did not keep is left out."""
    makers = {"short-shot": _weights, "drift-check": _drift, "gate-seal": _seal, "inspection": _inspection}
    return makers[kind](asked, result) if kind in makers else []


def _weights(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    if "percent_variation" not in result:
        return []
    facts = [
        (
            _("Percent variation"),
            _(
                "{percent_variation} % (heaviest less lightest)",
                percent_variation=fixed(result["percent_variation"], 2),
            ),
        ),
        (_("Mean"), f"{number(result['mean_g'], 5)} g"),
        (_("Standard deviation"), f"{number(result['sd_g'])} g, {_grams(result['sd_interval'])}"),
    ]
    if "cv_interval" in result:
        facts.append(("CV", f"{fixed(result['cv_pct'], 2)} %, {between(result['cv_interval'], 2)}"))
        facts.append(
            (
                _("Allowed"),
                _(
                    "CV {allowed_cv_pct} %: {limit_pct:g} % over {limit_shots} shots",
                    allowed_cv_pct=fixed(result["allowed_cv_pct"], 2),
                    limit_pct=result["limit_pct"],
                    limit_shots=result["limit_shots"],
                ),
            )
        )
        facts.append((_("True variation over the limit"), percent(result["over_probability"])))
        if result.get("more_shots"):
            facts.append(
                (_("To settle it"), _("about {more_shots} more shots", more_shots=result["more_shots"]))
            )
    hold = result.get("hold")
    if hold:
        facts.append(
            (
                _("Under hold"),
                _(
                    "{n_hold} weights, CV {cv_hold_pct} %; without hold {ratio} times as much ({between})",
                    n_hold=hold["n_hold"],
                    cv_hold_pct=fixed(hold["cv_hold_pct"], 2),
                    ratio=number(hold["ratio"], 2),
                    between=between(hold["ratio_interval"], 1),
                ),
            )
        )
    return facts


def _grams(interval: Any) -> str:
    return _("{float} to {float_2}", float=number(float(interval[0])), float_2=number(float(interval[1])))


def _drift(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    facts = []
    if asked.get("method"):
        facts.append((_("Against"), METHODS.get(asked["method"], asked["method"])))
    if asked.get("resin"):
        resin = RESINS.get(asked["resin"])
        facts.append((_("Resin"), resin.name if resin else asked["resin"]))
    if "pressure_bar" in asked:
        facts.append((_("Pressure"), str(Measured("pressure", asked["pressure_bar"], 0))))
    if result.get("not_stated"):
        facts.append((_("Not stated"), ", ".join(_NOT_STATED.get(one, one) for one in result["not_stated"])))
    if "creep_mm_s" not in result:
        return facts
    creep = f"{Measured('speed', result['creep_mm_s'], 3)}, {_reach('speed', result['creep_interval'])}"
    facts.append((_("Creep"), creep))
    if result.get("leak_flow_cm3_s") is not None:
        flow = str(Measured("flow", result["leak_flow_cm3_s"], 3))
        if result.get("leak_flow_interval"):
            flow += f", {_reach('flow', result['leak_flow_interval'])}"
        facts.append((_("Leak flow"), flow))
    if result.get("gap_mm") is not None:
        gap = str(Measured("length", result["gap_mm"], 3))
        gap += f", {_reach('length', result['gap_interval'])}" if result.get("gap_interval") else ""
        facts.append((_("Equivalent gap"), gap))
    if "settled_s" in result:
        facts.append(
            (
                _("Left out as settling"),
                _(
                    "{discarded} readings before {settled_s} s, {settling}: {settling_why}",
                    discarded=result["discarded"],
                    settled_s=number(result["settled_s"]),
                    settling=Measured("length", result["settling_mm"], 2),
                    settling_why=result["settling_why"],
                ),
            )
        )
        facts.append((_("Screw stood at"), str(Measured("length", result["position_mm"], 1))))
    return facts


def _seal(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    facts = []
    if result.get("seal_s") is not None:
        facts.append((_("Gate seals at"), f"{number(result['seal_s'])} s, {between(result['interval'], 2)}"))
        facts.append((_("Part then weighs"), f"{number(result['plateau_g'], 5)} g"))
    if "rise_g_per_s" in result:
        facts.append((_("Before that it gains"), f"{number(result['rise_g_per_s'])} g/s"))
    return facts


def _inspection(asked: Mapping[str, Any], result: Mapping[str, Any]) -> Facts:
    facts = []
    found = result.get("clearance")
    if found:
        give = f" ± {Measured('length', found['uncertainty_mm'], 3)}" if found["uncertainty_mm"] else ""
        facts.append(
            (
                _("Clearance a side"),
                f"{Measured('length', found['clearance_mm'], 3)}{give}",
            )
        )
        if found["ovality_mm"] is not None:
            facts.append(
                (
                    _("Bore out of round or tapered"),
                    str(Measured("length", found["ovality_mm"], 3)),
                )
            )
    if result.get("nominal_mm") is not None:
        facts.append((_("Made with"), _("{nominal_mm:g} mm", nominal_mm=result["nominal_mm"])))
    if asked.get("seat_contact"):
        facts.append((_("Seat contact"), SEAT[asked["seat_contact"]]))
    if asked.get("findings"):
        facts.append((_("Found"), "; ".join(FINDINGS[one] for one in asked["findings"])))
    return facts


def check_rows(result: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """The checks of a qualification as rows of a table: name, outcome, what was found, limit."""
    rows = []
    for name, one in (result.get("checks") or {}).items():
        title = PRESS_CHECKS[name].name if name in PRESS_CHECKS else name
        rows.append((title, OUTCOME[one["verdict"]], one["text"], f"{one['limit']:g} {one['unit']}"))
    balance = result.get("balance")
    if balance:
        rows.append((_("Volume balance"), "measured", balance["text"], "none"))
    return tuple(rows)
