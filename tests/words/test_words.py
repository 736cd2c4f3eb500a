"""Words join every code of the contract, and units and shifts follow the plant."""

import pytest

from server.contract import (
    ACKNOWLEDGE_REASONS,
    ALARM_STATES,
    CAUSES,
    EVENT_KINDS,
    LEAK_STATUSES,
    ROLES,
    RUN_RULES,
    SIGNALS,
    URGENCIES,
    VALVE_STYLES,
)
from server.words import catalogue
from server.words.guidance import floor_advice, steps_for
from server.words.help_terms import help_groups
from server.words.numbers import number, percent
from server.words.shifts import shift_at
from server.words.times import HOUR, Zone
from server.words.units import Units, signal_text

#: 25 October 2026, 00:30 UTC: in Berlin the night in which 02:00 to 03:00 comes twice.
CLOCKS_BACK = 1_792_888_200_000


@pytest.mark.parametrize(
    ("table", "codes"),
    [
        (catalogue.URGENCY, URGENCIES),
        (catalogue.ALARM_STATE, ALARM_STATES),
        (catalogue.REASON, ACKNOWLEDGE_REASONS),
        (catalogue.EVENT_NAMES, EVENT_KINDS),
        (catalogue.LEAK_STATUS, LEAK_STATUSES),
        (catalogue.VALVE_STYLE, VALVE_STYLES),
        (catalogue.ROLE, ROLES),
    ],
)
def test_every_code_of_the_contract_has_words(table: dict[str, str], codes: tuple[str, ...]) -> None:
    assert set(table) == set(codes)
    assert all(words.strip() for words in table.values())


def test_signals_rules_and_causes_have_names_of_their_own() -> None:
    for codes, name in (
        (SIGNALS, catalogue.signal_name),
        (RUN_RULES, catalogue.rule_name),
        (CAUSES, catalogue.cause_name),
    ):
        names = [name(code) for code in codes]
        assert len(set(names)) == len(codes)
        assert not any("_" in one for one in names)


def test_every_cause_has_steps_and_a_leak_begins_with_containment() -> None:
    assert steps_for("steady_leak")[0].id == "contain"
    assert steps_for("sealing") == ()
    for cause in CAUSES:
        assert floor_advice("leak", cause).endswith((".", "?"))


def test_steps_with_hands_on_the_press_carry_cautions() -> None:
    cautious = {step.id: step.cautions for cause in CAUSES for step in steps_for(cause)}
    assert "hot_melt" in cautious["drift_check"]
    assert "blocked_nozzle" in cautious["drift_check"]
    assert "lock_out" in cautious["inspect"]


def test_help_holds_every_cause_and_rule_once() -> None:
    ids = [entry.id for _, entries in help_groups() for entry in entries]
    assert len(ids) == len(set(ids))
    assert set(CAUSES) | set(RUN_RULES) | set(SIGNALS) <= set(ids)


def test_inches_and_psi_get_the_digits_they_need() -> None:
    american = Units.chosen({"length": "in", "pressure": "psi"})
    assert signal_text("cushion_mm", 5.994, american) == "0.2360 in"
    assert signal_text("peak_pressure_bar", 1000.0, american) == "14,504 psi"


def test_a_difference_of_temperature_knows_no_zero() -> None:
    fahrenheit = Units(temperature="degF")
    assert fahrenheit.shown("temperature", 100.0) == pytest.approx(212.0)
    assert fahrenheit.shown_difference("temperature", 10.0) == pytest.approx(18.0)


def test_an_unknown_unit_leaves_what_is_stored() -> None:
    assert Units.chosen({"length": "furlong"}) == Units()
    assert Units.chosen(None) == Units()


def test_recovery_is_told_in_milliseconds_per_length() -> None:
    assert signal_text("recovery_s_per_mm", 0.0811, Units()) == "81.1 ms/mm"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None])
def test_what_is_not_known_is_a_dash(value: float | None) -> None:
    assert number(value) == "–"
    assert percent(value) == "–"


def test_the_hour_that_comes_twice_is_told_apart_by_its_zone() -> None:
    berlin = Zone("Europe/Berlin")
    assert berlin.clock_with_zone(CLOCKS_BACK) == "02:30 CEST"
    assert berlin.clock_with_zone(CLOCKS_BACK + HOUR) == "02:30 CET"


def test_a_zone_nobody_knows_is_utc() -> None:
    assert Zone("Atlantis/Poseidonis").clock_with_zone(0) == "00:00 UTC"


def test_the_night_shift_begins_the_evening_before() -> None:
    berlin = Zone("Europe/Berlin")
    starts = ["06:00", "14:00", "22:00"]
    assert shift_at(CLOCKS_BACK, starts=starts, zone=berlin).name == "night"
    begun = shift_at(CLOCKS_BACK, starts=starts, zone=berlin).from_ms
    assert berlin.clock_time(begun) == "22:00"
    assert begun < CLOCKS_BACK


def test_a_plant_with_one_shift_needs_no_name_for_it() -> None:
    assert shift_at(0, starts=["06:00"], zone=Zone("UTC")).name == ""
