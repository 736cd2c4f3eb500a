"""The list of molds, those first that need somebody."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa

from server.derived.mold_limits import InForce, in_force
from server.language import N_, _, plural
from server.show.build_mold import usual_stretch
from server.show.mold_judged import (
    PRODUCT,
    Standing,
    assess_press,
    demand_of,
    limit_words,
    limits_of,
    setups_by_press,
    standing_of,
)
from server.show.mold_words import mold_answer
from server.show.pages import MoldRow, MoldsPage
from server.show.plant_words import Plant, mold_href
from server.store.page_queries import Row, accepted_presses, presses_of_molds
from server.store.plant import all_molds
from server.words.numbers import count_word

#: What needs somebody first.
_ORDER: Final = ("not_capable", "not_stable", "too_few", "no_limits", "capable")
_WORDS: Final = {
    "not_capable": N_("falls short"),
    "not_stable": N_("not stable"),
    "too_few": N_("too few parts measured"),
    "no_limits": N_("no limits of the drawing"),
    "capable": N_("meets its demand"),
}


def build_molds(connection: sa.Connection, plant: Plant) -> MoldsPage:
    """Every mold with what the last thirty days came to, the worst first."""
    where = presses_of_molds(connection)
    presses = {row["press_id"]: row for row in accepted_presses(connection)}
    rows = [
        _mold_row(connection, plant, mold, where.get(mold["mold"], []), presses)
        for mold in all_molds(connection)
    ]
    rows.sort(key=lambda row: (_ORDER.index(row.state), row.mold))
    return MoldsPage(
        frame=plant.frame(_("Molds"), active="/molds"),
        answer=_answer([row.state for row in rows]),
        under=_("Capability of the part per mold, over the last 30 days and all presses it ran on"),
        rows=tuple(rows),
    )


def _answer(states: Sequence[str]) -> str:
    """
    >>> _answer(["not_capable", "capable", "not_stable", "no_limits"])
    'One of four molds falls short of its demand. One is not stable. One has no limits of the drawing.'
    """
    if not states:
        return _("No mold has run yet.")
    short, unstable, without = map(states.count, ("not_capable", "not_stable", "no_limits"))
    many = f"{count_word(len(states))} {plural(len(states), 'mold', 'molds')}"
    if without == len(states):
        return _(
            "None of {many} has limits of the drawing yet, so nothing can be said about capability.",
            many=many,
        )
    told = _("No mold falls short of its demand.")
    if short:
        fall = _("falls short of its demand") if short == 1 else _("fall short of their demand")
        told = _("{short} of {many} {fall}.", short=count_word(short, capital=True), many=many, fall=fall)
    if unstable:
        told += _(
            " {unstable} {value} not stable.",
            unstable=count_word(unstable, capital=True),
            value=_("is") if unstable == 1 else _("are"),
        )
    if without:
        has = plural(without, "has", "have")
        told += _(
            " {without} {has} no limits of the drawing.", without=count_word(without, capital=True), has=has
        )
    return told


def _mold_row(
    connection: sa.Connection,
    plant: Plant,
    mold: Mapping[str, Any],
    ran_on: Sequence[str],
    presses: Mapping[int, Row],
) -> MoldRow:
    held = in_force(connection, mold, until_ms=None)
    limits = limits_of(held.limits.get(PRODUCT))
    known = limits.lower is not None or limits.upper is not None
    standing = _standing(connection, plant, mold["mold"], held, presses) if known else None
    state = _state(standing)
    return MoldRow(
        mold=mold["mold"],
        href=mold_href(mold["mold"]),
        part=mold["part"],
        cavities="" if mold["cavities"] is None else str(mold["cavities"]),
        presses=", ".join(ran_on),
        limits_text=_("part weight {limit_words}", limit_words=limit_words(limits, "g")) if known else "",
        state=state,
        state_text=_WORDS[state],
        verdict=""
        if standing is None
        else mold_answer(
            mold["mold"],
            standing.fit,
            standing.short,
            limited=True,
            only_unstable=standing.only_unstable,
        ),
        demand=_("Ppk ≥ {demand_of:.2f}", demand_of=demand_of(held)) if known else "",
    )


def _standing(
    connection: sa.Connection, plant: Plant, mold: str, held: InForce, presses: Mapping[int, Row]
) -> Standing:
    asked = usual_stretch(plant.now_ms)
    limits = limits_of(held.limits.get(PRODUCT))
    judged = {
        presses[press_id]["press"]: assess_press(connection, presses[press_id], ids, PRODUCT, limits, asked)
        for press_id, ids in setups_by_press(connection, mold, presses).items()
    }
    return standing_of([judged], demand=demand_of(held), limited=True)


def _state(standing: Standing | None) -> str:
    if standing is None:
        return "no_limits"
    if standing.short:
        return "not_stable" if standing.only_unstable else "not_capable"
    return "capable" if standing.fit else "too_few"
