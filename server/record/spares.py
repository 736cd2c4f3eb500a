"""Spares on the shelf, and how hard materials are on a valve, as the plant enters them."""

import dataclasses
from typing import Any, Final

import sqlalchemy as sa

from server.contract import VALVE_STYLES
from server.errors import InvalidError, NotFoundError
from server.language import N_
from server.record.fields import Given
from server.store.audit import PLANT, add_audit
from server.store.valve_life import (
    Spare,
    add_spare,
    change_spare,
    lock_spares,
    put_wear,
    remove_spare,
    spare_by_no,
    wear_of_materials,
)

_FIELDS: Final = ("part_number", "style", "material_pair", "on_hand", "lead_days", "place", "note")
#: How hard a material is: unfilled and kind, filled or pigmented, glass, minerals, metal or corrosive.
WEAR: Final = ("mild", "some", "strong")


def put_on_shelf(connection: sa.Connection, body: Any, *, who: str, now_ms: int) -> Spare:
    """Enter a spare valve."""
    given = Given.of(body, known=_FIELDS)
    given.need("part_number", "on_hand")
    empty = Spare(0, "", VALVE_STYLES[0], "", 0, None, "", "", who, now_ms)
    spare = add_spare(connection, _read(given, empty, who=who, now_ms=now_ms))
    _audit(connection, "spare_entered", spare.spare_no, who, now_ms, after=dataclasses.asdict(spare))
    return spare


def change(connection: sa.Connection, number: int, body: Any, *, who: str, now_ms: int) -> Spare:
    """Change what is known of a spare; what is left out stays."""
    given = Given.of(body, known=_FIELDS)
    lock_spares(connection)
    before = need_spare(connection, number)
    after = change_spare(connection, _read(given, before, who=who, now_ms=now_ms))
    _audit(
        connection, "spare_changed", number, who, now_ms,
        before=dataclasses.asdict(before), after=dataclasses.asdict(after),
    )  # fmt: skip
    return after


def remove(connection: sa.Connection, number: int, *, who: str, now_ms: int) -> None:
    """Take a spare off the list."""
    lock_spares(connection)
    before = need_spare(connection, number)
    remove_spare(connection, number)
    _audit(connection, "spare_removed", number, who, now_ms, before=dataclasses.asdict(before))


def need_spare(connection: sa.Connection, number: int) -> Spare:
    found = spare_by_no(connection, number)
    if found is None:
        raise NotFoundError(
            N_("no spare {number}; GET /api/v1/spares lists them", number=number), field="spare"
        )
    return found


def _read(given: Given, before: Spare, *, who: str, now_ms: int) -> Spare:
    part = given.text("part_number", default=before.part_number)
    if not part:
        raise InvalidError(N_("part_number is empty"), field="part_number")
    on_hand = given.whole("on_hand", least=0, most=10_000)
    lead = given.number("lead_days", least=0.0, most=1_000.0)
    return dataclasses.replace(
        before,
        part_number=part,
        style=given.choice("style", VALVE_STYLES) if given.has("style") else before.style,
        material_pair=given.text("material_pair", default=before.material_pair),
        on_hand=before.on_hand if on_hand is None else on_hand,
        lead_days=lead if "lead_days" in given.body else before.lead_days,
        place=given.text("place", default=before.place),
        note=given.text("note", longest=400, default=before.note),
        who=who,
        at_ms=now_ms,
    )


def say_wear(connection: sa.Connection, body: Any, *, who: str, now_ms: int) -> tuple[str, str]:
    """Say how hard a material is on a valve: (material, wear)."""
    given = Given.of(body, known=("material", "wear"))
    material, wear = given.text("material"), given.choice("wear", WEAR)
    if not material:
        raise InvalidError(N_("material is empty"), field="material")
    before = wear_of_materials(connection).get(material)
    if before != wear:
        put_wear(connection, material, wear, who=who, at_ms=now_ms)
        add_audit(
            connection, PLANT, now_ms=now_ms, who=who, action="material_wear_said", subject=material,
            before=before, after=wear,
        )  # fmt: skip
    return material, wear


def _audit(
    connection: sa.Connection, action: str, number: int, who: str, now_ms: int, *, before: Any = None,
    after: Any = None,
) -> None:  # fmt: skip
    add_audit(
        connection, PLANT, now_ms=now_ms, who=who, action=action, subject=f"spare {number}", before=before,
        after=after,
    )  # fmt: skip
