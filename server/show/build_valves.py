"""The valve ledger: every valve fitted, how long such valves last, spares, and what waiting costs."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa

from server.contract import VALVE_STYLES
from server.derived.valve_choice import fitting_spares
from server.derived.valve_life import LifeGroup, group_of, life_groups
from server.language import _, plural
from server.maths.results import Undetermined
from server.show.build_work import press_choices
from server.show.life_picture import life_picture
from server.show.pages import Choice
from server.show.plant_words import Plant, press_href
from server.show.press_words import full_name
from server.show.valve_rows import CostField, LifeBlock, SpareRow, ValveRow, ValvesPage, WearRow
from server.store.page_queries import Row, accepted_presses
from server.store.records import Valve, all_valves
from server.store.valve_life import Spare, all_spares, known_materials, wear_of_materials
from server.words.catalogue import VALVE_STYLE, worded
from server.words.guidance import caution_text
from server.words.numbers import count_word, number, whole
from server.words.valve_words import COSTS, OUTCOME, WEAR


def build_valves(connection: sa.Connection, plant: Plant) -> ValvesPage:
    """The ledger, valves that are in first."""
    groups = life_groups(connection)
    names = {row["press"]: row for row in accepted_presses(connection)}
    valves = sorted(all_valves(connection), key=lambda pair: pair[1].removed_ms is not None)
    spares = all_spares(connection)
    presses = press_choices(connection, actor=plant.actor)
    rows = tuple(_valve(press, valve, groups, names, plant) for press, valve in valves)
    return ValvesPage(
        frame=plant.frame(_("Valves"), active="/valves"),
        answer=_answer(rows, presses),
        under=_("Every valve fitted, what it ran, what was found, and how long such valves last"),
        rows=rows,
        lives=tuple(life_block(group) for group in groups),
        spares=tuple(spare_row(one, [valve for _, valve in valves]) for one in spares),
        materials=_materials(connection),
        costs=tuple(
            CostField(name, label, _entered(plant.settings[name]), hint) for name, label, hint in COSTS
        ),
        presses=presses,
        styles=tuple(Choice(one, worded(VALVE_STYLE, one)) for one in VALVE_STYLES if one != "none"),
        wears=tuple(Choice(one, text) for one, text in WEAR.items()),
        lock_out=caution_text("heat_soak", "lock_out"),
    )


def _entered(value: Any) -> str:
    return value if isinstance(value, str) else f"{value:g}" if value else ""


def _answer(rows: Sequence[ValveRow], presses: Sequence[Choice]) -> str:
    if not rows:
        return _("No valve has been entered yet.")
    current = sum(row.current for row in rows)
    answer = _(
        "{current} {valve} in {presses} ",
        current=count_word(current, capital=True),
        valve=plural(current, "valve", "valves"),
        presses=count_word(len(presses)),
    )
    answer += f"{plural(len(presses), 'press', 'presses')}."
    unknown = len(presses) - len({row.href for row in rows if row.current})
    return (
        _("{answer} {unknown} not entered.", answer=answer, unknown=count_word(unknown, capital=True))
        if unknown > 0
        else answer
    )


def valve_href(press: str, number: int) -> str:
    """
    >>> valve_href("P 7", 2)
    '/valves/P%207/2'
    """
    return f"/valves/{quote(press, safe='')}/{number}"


def _valve(
    press: str, valve: Valve, groups: Sequence[LifeGroup], names: dict[str, Row], plant: Plant
) -> ValveRow:
    group = group_of(groups, valve)
    lives = [] if group is None else [*group.lives, *group.left_out]
    life = next(one for one in lives if one.press == press and one.valve.valve_no == valve.valve_no)
    removed = _("still in") if valve.removed_ms is None else plant.day(valve.removed_ms)
    if valve.removed_reason:
        removed += f": {valve.removed_reason}"
    left = ""
    if valve.removed_ms is None and group is not None and not life.failed and not life.left_out:
        found = group.remaining(life.age)
        if not isinstance(found, Undetermined):
            low, high = found.middle_interval
            left = _(
                "{rounded} ({rounded_2} to {rounded_3})",
                rounded=rounded(found.middle),
                rounded_2=rounded(low),
                rounded_3=rounded(high),
            )
    known = names.get(press)
    return ValveRow(
        press=full_name(known) if known else press,
        href=press_href(press),
        valve_href=valve_href(press, valve.valve_no),
        style=worded(VALVE_STYLE, valve.style),
        part_number=valve.part_number,
        fitted=plant.day(valve.fitted_ms),
        shots=whole(life.age) + (_(" or more") if life.left_out == "its age is not known" else ""),
        removed=removed,
        outcome=outcome_words(valve, life.how),
        left=left,
        current=valve.removed_ms is None,
    )


def outcome_words(valve: Valve, how: str) -> str:
    """What became of it: what was said, else what shows a failure."""
    text = (
        worded(OUTCOME, valve.outcome) if valve.outcome else _("had failed ({how})", how=how) if how else ""
    )
    return ": ".join(part for part in (text, valve.found) if part)


def rounded(shots: float) -> str:
    """Shots to two figures: no life is known better.

    >>> rounded(123_456.0), rounded(0.0)
    ('120,000', '0')
    """
    return whole(float(f"{shots:.2g}"))


def life_block(group: LifeGroup, *, age: float | None = None) -> LifeBlock:
    """How long such valves last; with `age` also what is left to one that is good at it."""
    title = worded(VALVE_STYLE, group.style) + (f", {group.material_pair}" if group.material_pair else "")
    n, failed = len(group.lives), group.failures
    lines = [
        _(
            "{n} {valve} with a known age, {failed} of them failed.",
            n=whole(n),
            valve=plural(n, "valve", "valves"),
            failed=whole(failed),
        )
        + (_(" Left out: {left_out}.", left_out=whole(len(group.left_out))) if group.left_out else "")
    ]
    law = group.law
    if isinstance(law, Undetermined):
        answer = _("Not enough failures to say: {reason}.", reason=law.reason)
    else:
        low, high = (rounded(end) for end in law.median_interval)
        answer = _(
            "Half of them last longer than {rounded} shots ({low} to {high}).",
            rounded=rounded(law.median),
            low=low,
            high=high,
        )
        shape = _(
            "{shape} ({shape_interval} to {shape_interval_2})",
            shape=number(law.shape),
            shape_interval=number(law.shape_interval[0]),
            shape_interval_2=number(law.shape_interval[1]),
        )
        lines.append(_("Weibull law: shape {shape}; above 1 they fail of age. Intervals 95 %.", shape=shape))
        lines += _left(group, age)
        lines.append(_("It assumes like conditions; the steps in the picture assume no law."))
    return LifeBlock(title, answer, tuple(lines), life_picture(group, age=age))


def _left(group: LifeGroup, age: float | None) -> list[str]:
    found = None if age is None else group.remaining(age)
    if found is None or isinstance(found, Undetermined):
        return []
    (low, high), (soon, late) = found.middle_interval, found.early_interval
    return [
        _(
            "If it is good now, it lasts another {rounded} shots ({rounded_2} to {rounded_3}) or"
            " more in one of two cases; one in ten fails within {rounded_4} ({rounded_5} to"
            " {rounded_6}).",
            rounded=rounded(found.middle),
            rounded_2=rounded(low),
            rounded_3=rounded(high),
            rounded_4=rounded(found.early),
            rounded_5=rounded(soon),
            rounded_6=rounded(late),
        )
    ]


def spare_row(spare: Spare, valves: Sequence[Valve]) -> SpareRow:
    fits = [one for one in valves if one.removed_ms is None and fitting_spares([spare], one)]
    lead = _("not said") if spare.lead_days is None else _("{lead_days:g} days", lead_days=spare.lead_days)
    return SpareRow(
        number=spare.spare_no,
        part_number=spare.part_number,
        style=", ".join(part for part in (worded(VALVE_STYLE, spare.style), spare.material_pair) if part),
        on_hand=whole(spare.on_hand),
        lead=lead,
        place=spare.place,
        fits=_("{fits} fitted {valve}", fits=whole(len(fits)), valve=plural(len(fits), "valve", "valves")),
    )


def _materials(connection: sa.Connection) -> tuple[WearRow, ...]:
    wear = wear_of_materials(connection)
    names = sorted({*known_materials(connection), *wear})
    return tuple(
        WearRow(name, wear.get(name, ""), worded(WEAR, wear[name]) if name in wear else _("nobody has said"))
        for name in names
    )
