"""The valve ledger over HTTP: one valve with its life, lives by kind, spares, and how hard materials are."""

import dataclasses
import math
from typing import Annotated, Any

from fastapi import APIRouter, Body, Path, Request

from server.derived.valve_choice import ChangeChoice, choice_of
from server.derived.valve_life import Life, LifeGroup, group_of, life_groups, life_of
from server.maths.results import Undetermined
from server.record import spares, valves
from server.routes.acting import valve_item
from server.routes.calls import allow, code_of, objects_of, page_of, when, write
from server.store.plant import need_press
from server.store.records import checks_of
from server.store.valve_life import (
    Spare,
    all_spares,
    done_between,
    known_materials,
    materials_between,
    wear_of_materials,
)

router = APIRouter(prefix="/api/v1", tags=["valves"])

Given = Annotated[Any, Body()]
Number = Annotated[int, Path(ge=0, lt=1 << 31)]


@router.get("/presses/{press}/valves/{number}")
def get_valve(request: Request, press: str, number: Number) -> dict[str, Any]:
    """A valve: what it has done, how long such valves last, what changing or waiting costs."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        valve = valves.need_valve(connection, found, number)
        done = done_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=valve.removed_ms)
        life = life_of(connection, code, valve, checks_of(connection, valve.press_id))
        group = group_of(life_groups(connection), valve)
        ran = materials_between(connection, valve.press_id, from_ms=valve.fitted_ms, to_ms=valve.removed_ms)
        wear = wear_of_materials(connection)
        choice = choice_of(connection, found, life, group)
    left = None if group is None else group.remaining(life.age)
    return {
        **valve_item(code, valve),
        "shots": done.shots,
        "age_shots": life.age,
        "hours": done.hours,
        "pressure_hours": done.pressure_hours,
        "materials": [{"material": one, "shots": n, "wear": wear.get(one)} for one, n in ran],
        "life": life_item(life),
        "remaining": _said(left),
        "choice": choice_item(choice),
    }


@router.put("/presses/{press}/valves/{number}")
def put_valve(request: Request, press: str, number: Number, body: Given = None) -> dict[str, Any]:
    """Say of a valve that went why it went, and what it turned out to be."""
    code = code_of(press)
    who, now_ms = allow(request, "record", press=code).name, objects_of(request).now_ms()
    valve = write(
        request,
        lambda c: valves.looked_into(c, need_press(c, code), number, body or {}, who=who, now_ms=now_ms),
    )
    objects_of(request).hub.publish("press", code)
    return valve_item(code, valve)


@router.get("/valve-lives")
def get_lives(request: Request) -> dict[str, Any]:
    """Lives by kind of valve: a Weibull law with intervals, and the curve without a law."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        groups = life_groups(connection)
    return page_of([group_item(one) for one in groups], None)


@router.get("/spares")
def get_spares(request: Request) -> dict[str, Any]:
    """Valves on the shelf."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        found = all_spares(connection)
    return page_of([spare_item(one) for one in found], None)


@router.post("/spares", status_code=201)
def post_spare(request: Request, body: Given = None) -> dict[str, Any]:
    """Enter a spare valve."""
    who, now_ms = allow(request, "record").name, objects_of(request).now_ms()
    return spare_item(write(request, lambda c: spares.put_on_shelf(c, body or {}, who=who, now_ms=now_ms)))


@router.put("/spares/{number}")
def put_spare(request: Request, number: Number, body: Given = None) -> dict[str, Any]:
    """Change what is known of a spare; what is left out stays."""
    who, now_ms = allow(request, "record").name, objects_of(request).now_ms()
    return spare_item(write(request, lambda c: spares.change(c, number, body or {}, who=who, now_ms=now_ms)))


@router.delete("/spares/{number}", status_code=204)
def delete_spare(request: Request, number: Number) -> None:
    """Take a spare off the list."""
    who, now_ms = allow(request, "record").name, objects_of(request).now_ms()
    write(request, lambda c: spares.remove(c, number, who=who, now_ms=now_ms))


@router.get("/materials")
def get_materials(request: Request) -> dict[str, Any]:
    """Materials that ever ran, with how hard each is on a valve; null where nobody has said."""
    allow(request, "read")
    with objects_of(request).store.read() as connection:
        wear = wear_of_materials(connection)
        names = sorted({*known_materials(connection), *wear})
    return page_of([{"material": name, "wear": wear.get(name)} for name in names], None)


@router.put("/materials")
def put_material(request: Request, body: Given = None) -> dict[str, Any]:
    """Say how hard a material is on a valve: `mild`, `some` or `strong`."""
    who, now_ms = allow(request, "record").name, objects_of(request).now_ms()
    material, wear = write(request, lambda c: spares.say_wear(c, body or {}, who=who, now_ms=now_ms))
    return {"material": material, "wear": wear}


# --- as the API writes them -----------------------------------------------------------------------


def life_item(life: Life) -> dict[str, Any]:
    return {
        "press": life.press,
        "valve": life.valve.valve_no,
        "age": life.age,
        "entry": life.entry,
        "good_until": life.good_until,
        "failed_by": None if math.isinf(life.failed_by) else life.failed_by,
        "how": life.how or None,
        "left_out": life.left_out or None,
    }


def group_item(group: LifeGroup) -> dict[str, Any]:
    law: Any = _said(group.law)
    if isinstance(law, dict):
        law.pop("laws", None)
    curve: Any = group.curve
    if not isinstance(curve, Undetermined):
        curve = {"at": curve.at.tolist(), "good": curve.good.tolist(), "beyond": curve.beyond}
    return {
        "style": group.style,
        "material_pair": group.material_pair,
        "failures": group.failures,
        "lives": [life_item(one) for one in (*group.lives, *group.left_out)],
        "law": law,
        "curve": {"reason": curve.reason} if isinstance(curve, Undetermined) else curve,
    }


def choice_item(choice: ChangeChoice | Undetermined) -> dict[str, Any]:
    if isinstance(choice, Undetermined):
        return {"reason": choice.reason}
    return {**dataclasses.asdict(choice), "cheaper": choice.costs.cheaper}


def spare_item(spare: Spare) -> dict[str, Any]:
    return {
        "id": spare.spare_no,
        "part_number": spare.part_number,
        "style": spare.style,
        "material_pair": spare.material_pair,
        "on_hand": spare.on_hand,
        "lead_days": spare.lead_days,
        "place": spare.place,
        "note": spare.note,
        "who": spare.who,
        "at": when(spare.at_ms),
    }


def _said(found: Any) -> Any:
    if found is None:
        return None
    return {"reason": found.reason} if isinstance(found, Undetermined) else dataclasses.asdict(found)
