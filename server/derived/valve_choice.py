"""Change a valve at the next stop or wait: the plant's figures, the likelihood, the life of such valves."""

import dataclasses

import sqlalchemy as sa

from server.derived.standing import likelihood_of
from server.derived.valve_life import Life, LifeGroup, group_of, life_groups, life_of
from server.language import N_
from server.maths.results import Undetermined
from server.store.plant import Press, read_settings
from server.store.questions import press_with_state
from server.store.records import Valve, checks_of, valves_of
from server.store.valve_life import Spare
from server.valve.change_cost import CostCompared, CostFigures, compare_costs


@dataclasses.dataclass(frozen=True)
class ChangeChoice:
    """`fails_meanwhile`: chance that a sound valve fails before the stop after next.

    0.0 where `life_known` is False, since the record bounds no law: waiting then looks cheaper than it is.
    """

    costs: CostCompared
    likelihood: float
    fails_meanwhile: float
    life_known: bool
    currency: str
    shots: float


def choice_of(
    connection: sa.Connection, press: Press, life: Life, group: LifeGroup | None
) -> ChangeChoice | Undetermined:
    """Both costs for a valve that is in; Undetermined says what is missing."""
    if life.valve.removed_ms is not None:
        return Undetermined(N_("this valve is out already"))
    settings = read_settings(connection)
    figures = CostFigures(
        change=float(settings["cost_change"]),
        needless=float(settings["cost_needless_pull"]),
        failure=float(settings["cost_failure"]),
        scrap_per_1000=float(settings["cost_scrap_per_1000"]),
        shots_between_stops=float(settings["shots_between_stops"]),
    )
    if not (figures.change > 0.0 and figures.failure > 0.0 and figures.shots_between_stops > 0.0):
        return Undetermined(
            N_("the plant has not said what a change and a failure cost and how often it stops")
        )
    likelihood = likelihood_of(press_with_state(connection, press.press_id))
    if likelihood is None:
        return Undetermined(N_("the press is not judged, so that nobody knows whether its valve leaks"))
    chance: float | Undetermined = Undetermined(N_("no valve of this kind"))
    if group is not None:
        chance = group.fails_within(life.age, figures.shots_between_stops)
    known = not isinstance(chance, Undetermined)
    q = 0.0 if isinstance(chance, Undetermined) else chance
    return ChangeChoice(
        costs=compare_costs(figures, likelihood=likelihood, fails_meanwhile=q),
        likelihood=likelihood,
        fails_meanwhile=q,
        life_known=known,
        currency=str(settings["currency"]),
        shots=figures.shots_between_stops,
    )


def choice_now(connection: sa.Connection, press: Press) -> tuple[int, ChangeChoice | Undetermined] | None:
    """The number of the valve that is in a press and its choice; None where none is entered."""
    valve = next((one for one in valves_of(connection, press.press_id) if one.removed_ms is None), None)
    if valve is None:
        return None
    life = life_of(connection, press.press, valve, checks_of(connection, press.press_id))
    group = group_of(life_groups(connection), valve)
    return valve.valve_no, choice_of(connection, press, life, group)


def fitting_spares(spares: list[Spare], valve: Valve) -> list[Spare]:
    """Spares for a valve: of its part number where it has one, else of its style and material pair."""
    if valve.part_number:
        same = [one for one in spares if one.part_number.casefold() == valve.part_number.casefold()]
        if same:
            return same
    return [
        one
        for one in spares
        if one.style == valve.style and (not valve.material_pair or one.material_pair == valve.material_pair)
    ]
