"""The qualification of a press at startup: its checks with their readings, and what they come to."""

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

from server.errors import InvalidError
from server.language import N_
from server.record.fields import Given, read_number
from server.store.plant import Press
from server.valve.press_checks import PRESS_CHECKS, judge_check, volume_balance

OUTCOMES: Final = ("passed", "failed", "undecided", "not_done")
VERDICTS: Final = ("passed", "failed", "conditional")
#: A qualification is meant to take at most this long, min.
MINUTES: Final = 30
_READINGS_MAX: Final = 200


@dataclasses.dataclass(frozen=True)
class Qualified:
    """What was asked and what came out."""

    asked: dict[str, Any]
    result: dict[str, Any]
    verdict: str


def judge_qualification(given: Given, press: Press) -> Qualified:
    """Checks as outcomes, as readings that are judged here, or both; the verdict follows unless told."""
    checks = _told(given)
    measured, judged = _measured(given)
    checks |= {name: one["verdict"] for name, one in judged.items()}
    failed = sorted(name for name, outcome in checks.items() if outcome == "failed")
    missing = [name for name in PRESS_CHECKS if checks.get(name, "not_done") == "not_done"]
    verdict = given.choice("verdict", VERDICTS) if given.has("verdict") else _verdict(checks, missing)
    if not checks and not given.has("verdict"):
        raise InvalidError(
            N_("verdict is missing, and there is no check it could follow from"), field="verdict"
        )
    if verdict == "passed" and failed:
        raise InvalidError(
            N_("verdict is 'passed' though these failed: {join}", join=", ".join(failed)), field="verdict"
        )
    asked: dict[str, Any] = {"checks": checks}
    result: dict[str, Any] = {"failed": failed, "missing": missing if measured else []}
    if measured:
        asked["measured"], result["checks"] = measured, judged
    balance = _balance(given, press, asked)
    if balance is not None:
        result["balance"] = balance
    if given.has("studies"):
        asked["studies"] = [dict(one) for one in given.rows("studies", least=0, most=20)]
    return Qualified(asked, {**result, "text": _text(verdict, failed, result["missing"])}, verdict)


def _told(given: Given) -> dict[str, str]:
    listed = given.body.get("checks", {})
    if not isinstance(listed, Mapping) or len(listed) > 100:
        raise InvalidError(N_("checks has to be an object of at most 100 entries"), field="checks")
    return {str(name)[:80]: Given(listed).choice(name, OUTCOMES) for name in listed}


def _measured(given: Given) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    listed = given.body.get("measured", {})
    if not isinstance(listed, Mapping):
        raise InvalidError(N_("measured has to be an object of checks with their readings"), field="measured")
    asked: dict[str, Any] = {}
    judged: dict[str, dict[str, Any]] = {}
    for name, sent in listed.items():
        one = Given.of(sent, known=("readings", "limit"))
        if not one.has("readings"):
            raise InvalidError(N_("measured.{name}.readings is missing", name=name), field=f"measured.{name}")
        readings = read_pairs(one, "readings")
        limit = one.number("limit", above=0.0, most=1e6)
        judged[name] = dataclasses.asdict(judge_check(name, readings=readings, limit=limit))
        asked[name] = {"readings": readings, "limit": limit}
    return asked, judged


def read_pairs(given: Given, name: str) -> list[tuple[float, float]]:
    """A list of numbers, or of pairs of numbers; a single number stands with 0."""
    value = given.body[name]
    if not isinstance(value, list) or len(value) > _READINGS_MAX:
        raise InvalidError(
            N_(
                "{name} has to be a list of at most {readings_max} numbers or pairs",
                name=name,
                readings_max=_READINGS_MAX,
            ),
            field=name,
        )
    found = []
    for i, one in enumerate(value):
        pair = one if isinstance(one, list) else [one, 0.0]
        if len(pair) != 2:
            raise InvalidError(
                N_("{name}[{i}] has to be a number or a pair of numbers", name=name, i=i),
                field=f"{name}[{i}]",
            )
        found.append((read_number(f"{name}[{i}]", pair[0]), read_number(f"{name}[{i}]", pair[1])))
    return found


def _verdict(checks: Mapping[str, str], missing: list[str]) -> str:
    if "failed" in checks.values():
        return "failed"
    return "conditional" if missing or set(checks.values()) != {"passed"} else "passed"


def _balance(given: Given, press: Press, asked: dict[str, Any]) -> dict[str, Any] | None:
    if not given.has("balance"):
        return None
    given.need("melt_density_g_cm3")
    density = given.number("melt_density_g_cm3", above=0.1, most=10.0)
    assert density is not None
    if press.screw_diameter_mm is None:
        raise InvalidError(
            N_("the press has no screw_diameter_mm: PUT /api/v1/presses/{press} sets it"), field="balance"
        )
    pairs = read_pairs(given, "balance")
    asked["balance"], asked["melt_density_g_cm3"] = pairs, density
    found = volume_balance(pairs, screw_diameter_mm=press.screw_diameter_mm, melt_density_g_cm3=density)
    return dataclasses.asdict(found)


def _text(verdict: str, failed: list[str], missing: list[str]) -> str:
    text = {"passed": "Qualified.", "failed": "Not qualified.", "conditional": "Qualified with conditions."}
    names = {one.check: one.name.lower() for one in PRESS_CHECKS.values()}
    parts = [text[verdict]]
    if failed:
        parts.append("Failed: " + ", ".join(names.get(one, one) for one in failed) + ".")
    if missing:
        parts.append("Not done: " + ", ".join(names.get(one, one) for one in missing) + ".")
    return " ".join(parts)
