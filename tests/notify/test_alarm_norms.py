"""What public texts on alarm management say, held against the plant's alarms as they come."""

from server.contract import ALARM_STATES
from server.notify.life_cycle import Standing, opened, with_condition
from server.store.plant import PLANT_DEFAULTS
from tests.maths.cases import everything

CASES = everything()
#: Words of the diagram → ours, where they differ.
SHORTER = {
    "returned to normal unacknowledged": "returned_unacknowledged",
    "suppressed by design": "suppressed",
}


def false_alarms_a_day() -> float:
    """The whole plant's budget as it comes."""
    per_shift = PLANT_DEFAULTS["alarm_budget_per_shift"]
    return float(per_shift) * len(PLANT_DEFAULTS["shifts"])


def test_the_states_are_those_of_the_diagram() -> None:
    printed = CASES["G-states"]["expected"]["states"]
    assert {SHORTER.get(one, one.replace(" ", "_")) for one in printed} == set(ALARM_STATES)
    assert len(printed) == len(ALARM_STATES)


def test_false_alarms_leave_an_operator_nearly_all_of_what_is_acceptable() -> None:
    acceptable = CASES["G-rate-average"]["expected"]["very_likely_acceptable"]
    assert false_alarms_a_day() <= 0.05 * acceptable["per_day"]
    assert false_alarms_a_day() / 24 <= 0.05 * acceptable["per_hour"]


def test_false_alarms_are_rarer_than_one_in_ten_minutes() -> None:
    case = CASES["G-eemua-average"]
    assert case["expected"]["<1 per 10 min"] == "very likely to be acceptable"
    assert false_alarms_a_day() / 144 < case["computed"]["per_10min"][-1]


def test_a_flapping_condition_is_one_alarm_however_often_it_comes() -> None:
    # Three activations in a minute are called chattering; target: none.
    assert CASES["G-chattering"]["expected"]["target"] == 0
    move = opened(active=True)
    actions = [move.action]
    for i in range(20):
        move = with_condition(move.standing, active=bool(i % 2))
        actions.append(move.action)
    assert actions.count("opened") == 1
    assert isinstance(move.standing, Standing)
    assert not move.standing.has_ended
