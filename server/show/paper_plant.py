"""The summary of valve health of a stretch: a shift, a month; a line a press, and what was done."""

import dataclasses
from typing import Any

import sqlalchemy as sa
from scipy.special import expit

from server.clock import as_text
from server.language import _
from server.show.paper import Block, Paper
from server.show.plant_words import Plant
from server.show.press_words import full_name
from server.store.alarm_history import rises_between
from server.store.cases import last_score, list_cases
from server.store.page_queries import Row, accepted_presses
from server.store.records import shots_between, valves_of
from server.store.reports import highest_score, studies_between
from server.words.case_words import PROVEN
from server.words.catalogue import ALARM_KIND, STUDY, VALVE_STYLE, VERDICT, worded
from server.words.numbers import percent, whole
from server.words.times import DAY

#: Above this likelihood a press is named in the first sentence.
_LIKELY = 0.5
#: A score from so long before the stretch still says how it began.
_BEFORE_MS = 30 * DAY


@dataclasses.dataclass(frozen=True)
class _Line:
    press: str
    name: str
    shots: int
    begin: float | None
    highest: float | None
    end: float | None
    alarms: int
    valve: str


def health_paper(connection: sa.Connection, plant: Plant, *, area: str, from_ms: int, to_ms: int) -> Paper:
    """Leak-likelihood at the beginning, highest and at the end of a stretch, alarms, checks, cases, valves.

    area: only its presses; '' for the plant. `to_ms` exclusive.
    """
    presses = [row for row in accepted_presses(connection) if not area or row["area"] == area]
    rises = rises_between(connection, from_ms=from_ms, to_ms=to_ms)
    counts: dict[str, int] = {}
    for rise in rises:
        counts[rise.press] = counts.get(rise.press, 0) + 1
    lines = [_line(connection, row, counts.get(row["press"], 0), from_ms, to_ms) for row in presses]
    lines.sort(key=lambda one: -(one.end if one.end is not None else -1.0))
    codes = {one.press for one in lines}
    kinds: dict[str, int] = {}
    for rise in rises:
        if rise.press in codes:
            kinds[rise.kind] = kinds.get(rise.kind, 0) + 1
    checks = [
        (press, study)
        for press, study in studies_between(connection, from_ms=from_ms, to_ms=to_ms)
        if press in codes
    ]
    cases = [
        (press, case)
        for press, case in list_cases(connection, limit=1_000)
        if press in codes and case.opened_ms < to_ms and (case.closed_ms is None or case.closed_ms >= from_ms)
    ]
    where = _("area {area}", area=area) if area else plant.name
    return Paper(
        title=_("Valve health, {where}", where=where),
        answer=_answer(lines),
        under=_("{since} to {to}", since=plant.day(from_ms), to=plant.day(to_ms - 1)),
        blocks=(
            _presses(lines),
            _alarms(kinds),
            _checks(checks, plant),
            _cases(cases, plant, to_ms),
            _changes(connection, presses, plant, from_ms, to_ms),
        ),
        basis={
            "kind": "valve_health",
            "area": area,
            "from": as_text(from_ms),
            "to": as_text(to_ms),
            "presses": {one.press: _numbers(one) for one in lines},
            "alarms": kinds,
            "studies": [[press, one.study_no, one.kind, one.verdict] for press, one in checks],
            "cases": [[press, one.case_no, _verdict_then(one, to_ms)] for press, one in cases],
        },
        identity=(
            (_("Presses"), str(len(lines))),
            (_("Shots"), whole(sum(one.shots for one in lines))),
            (_("From"), plant.zone.iso(from_ms)),
            (_("To"), plant.zone.iso(to_ms)),
        ),
    )


def _line(connection: sa.Connection, row: Row, alarms: int, from_ms: int, to_ms: int) -> _Line:
    press_id = row["press_id"]
    fitted = [one for one in valves_of(connection, press_id) if one.fitted_ms < to_ms]
    begin = last_score(connection, press_id, from_ms=from_ms - _BEFORE_MS, to_ms=from_ms)
    end = last_score(connection, press_id, from_ms=from_ms, to_ms=to_ms)
    return _Line(
        press=row["press"],
        name=full_name(row),
        shots=shots_between(connection, press_id, from_ms=from_ms, to_ms=to_ms),
        begin=_share(begin),
        highest=_share(highest_score(connection, press_id, from_ms=from_ms, to_ms=to_ms)),
        end=_share(end),
        alarms=alarms,
        valve=worded(VALVE_STYLE, fitted[0].style) if fitted else _("not entered"),
    )


def _share(log_odds: float | None) -> float | None:
    return None if log_odds is None else float(expit(log_odds))


def _numbers(one: _Line) -> dict[str, Any]:
    kept = ("shots", "begin", "highest", "end", "alarms")
    return {name: getattr(one, name) for name in kept}


def _answer(lines: list[_Line]) -> str:
    judged = [one for one in lines if one.end is not None]
    likely = [one.press for one in judged if one.end is not None and one.end >= _LIKELY]
    if not judged:
        return _("No press was judged in this time.")
    if not likely:
        return _("None of {judged} judged presses ended with a likely leaking valve.", judged=len(judged))
    named = ", ".join(likely)
    return _(
        "{likely} of {judged} judged presses ended with a likely leaking valve: {named}.",
        likely=len(likely),
        judged=len(judged),
        named=named,
    )


def _presses(lines: list[_Line]) -> Block:
    head = (
        _("Press"),
        _("Shots"),
        _("At the beginning"),
        _("Highest"),
        _("At the end"),
        _("Alarms"),
        _("Valve"),
    )
    rows = tuple(
        (
            one.name, whole(one.shots), _percent(one.begin), _percent(one.highest), _percent(one.end),
            str(one.alarms), one.valve,
        )
        for one in lines
    )  # fmt: skip
    text = _(
        "Leak-likelihood: of all presses shown at 80 %, about 80 % have a failing valve. Not"
        " judged: no record in force, or too few shots."
    )
    return Block(_("Presses, the likeliest leak first"), (text,), head=head, rows=rows)


def _percent(share: float | None) -> str:
    return _("not judged") if share is None else percent(share)


def _alarms(kinds: dict[str, int]) -> Block:
    rows = tuple((worded(ALARM_KIND, kind), str(count)) for kind, count in sorted(kinds.items()))
    if not rows:
        return Block(_("Alarms"), (_("None rose."),))
    return Block(_("Alarms"), head=(_("Kind"), _("Times it rose")), rows=rows)


def _checks(checks: list[tuple[str, Any]], plant: Plant) -> Block:
    if not checks:
        return Block(_("Checks at presses"), (_("None was kept."),))
    rows = tuple(
        (
            press, str(one.study_no), worded(STUDY, one.kind), plant.zone.iso(one.at_ms),
            worded(VERDICT, one.verdict), one.author,
        )
        for press, one in checks
    )  # fmt: skip
    return Block(
        _("Checks at presses"),
        head=(_("Press"), _("Number"), _("Kind"), _("At"), _("Verdict"), _("By")),
        rows=rows,
    )


def _verdict_then(case: Any, to_ms: int) -> str:
    """What a case had come to when the stretch ended."""
    return case.verdict if case.closed_ms is not None and case.closed_ms < to_ms else "open"


def _cases(cases: list[tuple[str, Any]], plant: Plant, to_ms: int) -> Block:
    if not cases:
        return Block(_("Cases"), (_("None was open."),))
    rows = []
    for press, one in cases:
        verdict = _verdict_then(one, to_ms)
        said = "open" if verdict == "open" else worded(PROVEN, verdict)
        rows.append((press, str(one.case_no), plant.zone.iso(one.opened_ms), said))
    return Block(_("Cases"), head=(_("Press"), _("Number"), _("Opened"), _("At the end")), rows=tuple(rows))


def _changes(connection: sa.Connection, presses: list[Row], plant: Plant, from_ms: int, to_ms: int) -> Block:
    rows = [
        (
            row["press"], str(one.valve_no), worded(VALVE_STYLE, one.style), plant.zone.iso(one.fitted_ms),
            one.note,
        )
        for row in presses
        for one in valves_of(connection, row["press_id"])
        if from_ms <= one.fitted_ms < to_ms
    ]  # fmt: skip
    if not rows:
        return Block(_("Valves fitted"), (_("None was fitted."),))
    return Block(
        _("Valves fitted"),
        head=(_("Press"), _("Number"), _("Style"), _("Fitted"), _("Note")),
        rows=tuple(rows),
    )
