"""The import page: what a file can be read as, earlier imports, and the rows kept apart."""

import json
from typing import Any

import sqlalchemy as sa

from server.language import N_, _, plural
from server.show.build_work import mold_choices, press_choices
from server.show.first_steps import first_steps
from server.show.more_pages import ApartRow, ImportPage, ImportRow, TargetGroup
from server.show.pages import Choice
from server.show.plant_words import Plant
from server.show.script_words import IMPORTING, script_words
from server.store.imports import UNDOABLE, Import, newest_imports
from server.store.page_queries import rows_apart
from server.tabular.units import ALL, quantity_of
from server.words.catalogue import worded
from server.words.importing import STATE, TARGETS
from server.words.numbers import count_word, whole

_APART = {
    "rejected": "refused",
    "conflict": N_("contradicts a stored shot"),
    "unknown_press": N_("press not in the plant"),
    "poison": N_("could not be judged"),
}
SHOWN = 20
#: Zones of a barrel that can be chosen.
_ZONES = 12


def build_import(connection: sa.Connection, plant: Plant, *, press: str = "") -> ImportPage:
    """`press`: the one that is chosen already."""
    apart = rows_apart(connection)
    refused = len(apart)
    answer = _("Bring shots in from a file.")
    if refused:
        many = _("100 or more") if refused >= 100 else count_word(refused)
        answer += _(
            " {many}{many_2} {row_is} kept apart.",
            many=many[0].upper(),
            many_2=many[1:],
            row_is=plural(refused, "row is", "rows are"),
        )
    zones = tuple(Choice(f"zone_temps_c.{i}", _("Barrel zone {i}", i=i)) for i in range(1, _ZONES + 1))
    groups = tuple(
        TargetGroup(name, tuple(Choice(field, word) for field, word in targets)) for name, targets in TARGETS
    )
    return ImportPage(
        frame=plant.frame(_("Import"), active="/import"),
        answer=answer,
        under=_(
            "A file is looked at first; good rows are stored, bad ones kept apart with the"
            " reason, and a whole import can be undone"
        ),
        presses=press_choices(connection, press),
        molds=mold_choices(connection),
        targets=(*groups, TargetGroup(_("Barrel"), zones)),
        units_json=json.dumps(_units()),
        say=script_words(IMPORTING),
        zone=str(plant.settings.get("time_zone") or "UTC"),
        imports=tuple(_row(one, plant) for one in newest_imports(connection, limit=SHOWN)),
        apart=tuple(_apart(row, plant) for row in apart),
        first=first_steps(connection, plant, place="import", press=press),
    )


def _units() -> dict[str, list[str]]:
    """The units of each target."""
    targets = [field for _, fields in TARGETS for field, _ in fields] + ["zone_temps_c"]
    return {field: list(ALL[quantity_of(field)]) for field in targets if quantity_of(field)}


def _row(one: Import, plant: Plant) -> ImportRow:
    counts = _("{stored} of {received} rows stored", stored=whole(one.stored), received=whole(one.received))
    known = [
        f"{whole(number)} {word}"
        for number, word in (
            (one.duplicate, _("there already")), (one.conflict, "contradicting"), (one.rejected, "refused"),
        )
        if number
    ]  # fmt: skip
    undone = _(" by {undone_by}", undone_by=one.undone_by) if one.state == "undone" and one.undone_by else ""
    return ImportRow(
        number=one.import_no,
        file=one.file_name,
        when=plant.moment(one.created_ms),
        who=one.who,
        state=STATE[one.state] + undone,
        counts=", ".join((counts, *known)) if one.received else "",
        trouble=one.trouble,
        refused=one.rejected + one.conflict,
        undo="configure" in plant.actor.may and one.state in UNDOABLE and one.stored > 0,
    )


def _apart(row: Any, plant: Plant) -> ApartRow:
    return ApartRow(
        press=row["press"],
        when=plant.moment(row["arrived_ms"]),
        kind=worded(_APART, row["kind"]),
        field=row["field"],
        message=row["message"],
        raw=_short(row["raw"]),
    )


def _short(raw: str) -> str:
    return raw if len(raw) <= 120 else f"{raw[:117]}…"
