"""The catalogues in `shared/` and the ids in `contract` are one."""

import json
from typing import Any

import pytest

from server import contract
from server.maths.run_rules import DEFAULT_N
from server.settings import outside
from server.valve.evidence_words import CAUSE_TEXT

IDS = {
    "signals": contract.SIGNALS,
    "rules": (*contract.RUN_RULES, contract.BOTTOMING, *contract.BUDGETED),
    "causes": contract.CAUSES,
}


def catalogue(name: str) -> dict[str, Any]:
    found = json.loads((outside("shared") / f"{name}.json").read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found


def ids(entries: list[dict[str, Any]]) -> list[str]:
    return [entry["id"] for entry in entries]


@pytest.mark.parametrize("name", IDS)
def test_a_catalogue_has_the_ids_of_the_contract_in_its_order(name: str) -> None:
    assert ids(catalogue(name)[name]) == list(IDS[name])


@pytest.mark.parametrize("name", [*IDS, "cautions"])
def test_an_entry_says_name_meaning_formula_unit_and_source(name: str) -> None:
    for entry in catalogue(name)[name]:
        for key in ("name", "meaning", "formula", "unit", "source"):
            assert isinstance(entry[key], str), (entry["id"], key)
        assert entry["name"][0].isupper()
        assert entry["meaning"].endswith(".")
        assert entry["meaning"].count(". ") == 0, f"one sentence: {entry['id']}"
        assert entry["source"]
        if name != "cautions":
            assert entry["formula"]
            assert entry["unit"]


def test_leak_causes_are_marked_as_such() -> None:
    marked = tuple(cause["id"] for cause in catalogue("causes")["causes"] if cause["leak"])
    assert marked == contract.LEAK_CAUSES


def test_short_words_of_a_cause_are_those_of_the_evidence() -> None:
    assert {cause["id"]: cause["text"] for cause in catalogue("causes")["causes"]} == CAUSE_TEXT


def test_rules_name_the_numbers_of_points_the_maths_takes() -> None:
    for rule in catalogue("rules")["rules"]:
        if rule["kind"] == "run_rule":
            assert DEFAULT_N[rule["id"]] in rule["n"]
        assert (rule["kind"] == "run_rule") == (rule["id"] in contract.RUN_RULES)


def test_units_of_signals_are_those_of_their_names() -> None:
    ends = {"_mm": "mm", "_bar": "bar", "_per_mm": "s/mm", "_s": "s", "_g": "g", "_c": "°C"}
    for signal in catalogue("signals")["signals"]:
        end = max((e for e in ends if signal["id"].endswith(e)), key=len)
        assert signal["unit"] == ends[end], signal["id"]


def test_every_cause_has_guidance_of_known_steps() -> None:
    guidance = catalogue("guidance")
    assert ids(guidance["guidance"]) == list(contract.CAUSES)
    steps = {step["id"]: step for step in guidance["steps"]}
    used = {name for entry in guidance["guidance"] for name in entry["steps"]}
    assert used == set(steps)
    for entry in guidance["guidance"]:
        assert len(set(entry["steps"])) == len(entry["steps"])
        assert entry["at_the_press"].endswith(".")
        assert bool(entry["steps"]) == (entry["id"] != "sealing")


def test_steps_follow_the_mechanism_since_a_later_one_cures_no_earlier_cause() -> None:
    guidance = catalogue("guidance")
    order = {mechanism["id"]: mechanism["order"] for mechanism in guidance["mechanisms"]}
    assert list(order.values()) == sorted(order.values())
    steps = {step["id"]: order[step["mechanism"]] for step in guidance["steps"]}
    for entry in guidance["guidance"]:
        along = [steps[name] for name in entry["steps"]]
        assert along == sorted(along), entry["id"]


def test_a_leak_is_contained_before_anything_else_and_proven_at_the_end() -> None:
    entries = {entry["id"]: entry["steps"] for entry in catalogue("guidance")["guidance"]}
    for cause in contract.LEAK_CAUSES:
        assert "contain" in entries[cause][:2]
        assert entries[cause][-1] == "proof"
        assert "inspect" in entries[cause]


def test_every_step_with_hands_on_the_press_carries_its_cautions() -> None:
    guidance = catalogue("guidance")
    known = set(ids(catalogue("cautions")["cautions"]))
    steps = {step["id"]: step for step in guidance["steps"]}
    for step in steps.values():
        assert set(step["cautions"]) <= known
    for name in ("look", "short_shot", "setting_trial", "drift_check", "unblock", "nozzle"):
        assert "hot_melt" in steps[name]["cautions"]
    assert "blocked_nozzle" in steps["drift_check"]["cautions"]
    assert {"heat_soak", "lock_out"} <= set(steps["inspect"]["cautions"])
