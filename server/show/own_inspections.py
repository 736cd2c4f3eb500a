"""What the plant's own inspections say of the score, as a section of its page."""

import dataclasses

import sqlalchemy as sa

from server.derived.inspected import Inspected, Record, inspection_record
from server.language import N_, _, plural
from server.maths.results import Undetermined
from server.show.plant_words import Plant, press_href
from server.valve.judgement import likelihood
from server.valve.recalibration import Recalibration
from server.words.numbers import percent, whole


@dataclasses.dataclass(frozen=True)
class InspectedRow:
    """One valve that was opened: what the score had said, and what was found."""

    press: str
    href: str
    at_text: str
    said: str
    found: str


@dataclasses.dataclass(frozen=True)
class OwnInspections:
    """`lines` say what the inspections come to; `act` what can be done about it, '' nothing.

    act: `apply` puts the correction on, `again` puts the present one on, `remove` takes it off.
    """

    lines: tuple[str, ...]
    rows: tuple[InspectedRow, ...]
    acts: tuple[str, ...]


_FOUND = {True: N_("failed"), False: N_("good"), None: N_("worn, still usable")}


def own_inspections(connection: sa.Connection, plant: Plant) -> OwnInspections:
    """The section, read from the studies on record and the scores before them."""
    record = inspection_record(connection)
    applied = plant.settings["recalibration"]
    lines = list(_lines(record))
    acts: tuple[str, ...] = ()
    can = isinstance(record.result, Recalibration)
    if applied is not None:
        n, day = whole(applied["inspections"]), plant.day(applied["at_ms"])
        lines.append(_("Every score carries a correction from {n} inspections since {day}.", n=n, day=day))
        acts = ("again", "remove") if can and _differs(record.result, applied) else ("remove",)
    elif can:
        acts = ("apply",)
    return OwnInspections(tuple(lines), tuple(_row(one, plant) for one in record.inspected[-12:]), acts)


def _lines(record: Record) -> tuple[str, ...]:
    left_out = []
    if record.worn:
        left_out.append(_("{worn} worn but usable", worn=whole(record.worn)))
    if record.unpaired:
        left_out.append(_("{unpaired} without a score before", unpaired=whole(record.unpaired)))
    counted = len(record.inspected) - record.worn
    first = f"{whole(counted)} {plural(counted, 'inspection counts', 'inspections count')}"
    first += _("; left out: {join}.", join=", ".join(left_out)) if left_out else "."
    found = record.result
    if isinstance(found, Undetermined):
        return (first, _("No correction yet: {reason}.", reason=found.reason))
    verdict = _("The score needs no correction as far as they can tell")
    if found.p < 0.05:
        verdict = _("They say the score is too sure") if found.slope < 0.9 else _("They say the score is off")
        if found.slope > 1.1:
            verdict = _("They say the score is too timid")
    said = [percent(likelihood(one)) for one in (-2.0, 0.0, 2.0)]
    now = [percent(likelihood(found.corrected(one))) for one in (-2.0, 0.0, 2.0)]
    change = "; ".join(_("{a} becomes {b}", a=a, b=b) for a, b in zip(said, now, strict=True))
    return (
        first,
        _("{verdict} (p {p:.2g}). With the correction {change}.", verdict=verdict, p=found.p, change=change),
        _(
            "This assumes that valves were opened for their score or a check on record, not for"
            " something else that gave them away."
        ),
    )


def _differs(found: Recalibration | Undetermined, applied: dict[str, float]) -> bool:
    return isinstance(found, Recalibration) and (found.shift, found.slope) != (
        applied["shift"],
        applied["slope"],
    )


def _row(one: Inspected, plant: Plant) -> InspectedRow:
    return InspectedRow(
        press=one.press,
        href=press_href(one.press),
        at_text=plant.day(one.at_ms),
        said=percent(likelihood(one.log_odds)),
        found=_FOUND[one.failing],
    )
