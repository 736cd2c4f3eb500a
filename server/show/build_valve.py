"""One valve's own page: what it has done, what was found, how long such valves last, change it or wait."""

import sqlalchemy as sa

from server.derived.valve_choice import ChangeChoice, choice_of, fitting_spares
from server.derived.valve_life import Life, LifeGroup, group_of, life_groups, life_of
from server.language import _
from server.maths.results import Undetermined
from server.show.build_valves import life_block, outcome_words, spare_row
from server.show.choice_block import choice_block
from server.show.pages import Choice, TimelineRow
from server.show.plant_words import Plant, press_api, press_href
from server.show.valve_rows import LifeBlock, ValvePage
from server.store.plant import press_by_code
from server.store.records import Study, Valve, all_valves, checks_of, valves_of
from server.store.valve_life import Done, all_spares, done_between, materials_between, wear_of_materials
from server.words.catalogue import STUDY, VALVE_STYLE, VERDICT, worded
from server.words.numbers import whole
from server.words.valve_words import OUTCOME, WEAR


def build_valve(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> ValvePage | None:
    """None: no such press or valve."""
    found = press_by_code(connection, press)
    valves = [] if found is None else valves_of(connection, found.press_id)
    valve = next((one for one in valves if one.valve_no == number), None)
    if found is None or valve is None:
        return None
    done = done_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=valve.removed_ms)
    checks = checks_of(connection, valve.press_id)
    life = life_of(connection, press, valve, checks)
    group = group_of(life_groups(connection), valve)
    choice = choice_of(connection, found, life, group)
    every = [one for _, one in all_valves(connection)]
    return ValvePage(
        frame=plant.frame(_("{press} valve {number}", press=press, number=number), active="/valves"),
        answer=_answer(press, valve, life, choice, plant),
        under=_under(valve, plant),
        press=press,
        press_href=press_href(press),
        api_href=f"{press_api(press)}/valves/{number}",
        facts=_facts(valve, done, life, plant),
        materials=_materials(connection, valve),
        checks=_checks(checks, valve, plant),
        life=_life(group, valve, life),
        choice=choice_block(choice),
        spares=tuple(spare_row(one, every) for one in fitting_spares(all_spares(connection), valve)),
        is_out=valve.removed_ms is not None,
        outcomes=tuple(
            Choice(one, worded(OUTCOME, one), one == valve.outcome) for one in ("failed", "worn", "good")
        ),
        reason=valve.removed_reason,
        found=valve.found,
    )


def _answer(press: str, valve: Valve, life: Life, choice: ChangeChoice | Undetermined, plant: Plant) -> str:
    done = _("{press}: {age} shots on this valve", press=press, age=whole(life.age))
    if valve.removed_ms is not None:
        said = outcome_words(valve, life.how)
        return _("{done} until {removed}", done=done, removed=plant.day(valve.removed_ms)) + (
            _("; it {said}.", said=said) if said else "."
        )
    if life.failed:
        return _("{done}; it has failed ({how}).", done=done, how=life.how)
    if isinstance(choice, Undetermined):
        return f"{done}."
    act = (
        _("changing it at the next stop is the cheaper way")
        if choice.costs.cheaper == "change"
        else (_("waiting for the stop after next is the cheaper way"))
    )
    return f"{done}; {act}."


def _under(valve: Valve, plant: Plant) -> str:
    parts = [
        worded(VALVE_STYLE, valve.style), valve.part_number, valve.material_pair,
        _("fitted {fitted}", fitted=plant.day(valve.fitted_ms)),
    ]  # fmt: skip
    return " · ".join(part for part in parts if part)


def _facts(valve: Valve, done: Done, life: Life, plant: Plant) -> tuple[tuple[str, str], ...]:
    clearance = plant.units.text("length", valve.nominal_clearance_mm, 3)
    rows = [
        (_("Shots since it was fitted"), whole(done.shots)),
        (_("Shots before"), _("not said") if valve.shots_before is None else whole(valve.shots_before)),
        (_("Hours of cycles"), whole(done.hours) if done.hours else _("no cycle times sent")),
        (_("Hours under pressure"), whole(done.pressure_hours) if done.pressure_hours else _("not sent")),
        (_("Clearance when new"), clearance if valve.nominal_clearance_mm is not None else _("not said")),
        (_("Entered by"), valve.author),
    ]
    if valve.removed_ms is not None:
        rows.append((_("Removed"), plant.day(valve.removed_ms)))
    if valve.removed_reason:
        rows.append((_("Why it went"), valve.removed_reason))
    said = outcome_words(valve, life.how)
    if said:
        rows.append((_("What it was"), said))
    if valve.note:
        rows.append((_("Note"), valve.note))
    return tuple(rows)


def _materials(connection: sa.Connection, valve: Valve) -> tuple[tuple[str, str, str], ...]:
    wear = wear_of_materials(connection)
    found = materials_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=valve.removed_ms)
    return tuple(
        (name or _("not named"), whole(n), worded(WEAR, wear[name]) if name in wear else _("nobody has said"))
        for name, n in found
    )


def _checks(checks: list[Study], valve: Valve, plant: Plant) -> tuple[TimelineRow, ...]:
    """What was done off line while it was in, and a proof of the change that ended it; the newest first."""
    own = [
        one
        for one in checks
        if (one.at_ms >= valve.fitted_ms and (valve.removed_ms is None or one.at_ms < valve.removed_ms))
        or (one.kind == "proof" and one.asked.get("valve_no") == valve.valve_no)
    ]
    return tuple(
        TimelineRow(
            at_text=plant.moment(one.at_ms),
            at_iso=plant.zone.iso(one.at_ms),
            what=f"{worded(STUDY, one.kind)} {one.study_no}: {worded(VERDICT, one.verdict)}. "
            f"{one.result.get('text', '')}".strip(),
            who=one.author,
        )
        for one in reversed(own)
    )


def _life(group: LifeGroup | None, valve: Valve, life: Life) -> LifeBlock:
    if group is None:
        return LifeBlock("", _("Nothing is known of such valves."), (), None)
    alive = valve.removed_ms is None and not life.failed and not life.left_out
    return life_block(group, age=float(life.age) if alive else None)
