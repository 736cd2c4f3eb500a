"""Pages of cases: which are open, and one with its story, its comparisons and what worked before."""

import sqlalchemy as sa

from server.derived.case_proof import CaseProof, proof_of
from server.derived.case_story import story_of
from server.derived.valve_choice import choice_now
from server.language import _, plural
from server.show.build_valves import valve_href
from server.show.build_work import press_choices
from server.show.case_proof_rows import action_block, verdict_words
from server.show.case_rows import ActionBlock, CasePage, CaseRow, CasesPage, EarlierRow
from server.show.choice_block import ChoiceBlock, choice_block
from server.show.frame import Frame
from server.show.pages import Choice, TimelineRow
from server.show.plant_words import Plant, case_href, press_api, press_href
from server.store.alarms import public_id
from server.store.cases import (
    Case,
    CaseAction,
    actions_of,
    case_by_no,
    list_cases,
    proven_cases,
)
from server.store.plant import Press, press_by_code
from server.valve.proof_of_fix import VERDICTS
from server.words.case_words import ACTION, PROVEN, STAGE
from server.words.catalogue import VALVE_STYLE, worded
from server.words.guidance import caution_text
from server.words.numbers import count_word


def build_cases(connection: sa.Connection, plant: Plant, *, closed: bool = False) -> CasesPage:
    """Open cases, oldest first, since they wait longest; closed ones behind them on request."""
    found = list_cases(connection, is_open=True, limit=500)
    rows = tuple(_row(connection, press, case, plant) for press, case in reversed(found))
    past = list_cases(connection, is_open=False, limit=100) if closed else []
    ready = sum(row.stage == STAGE["to_judge"] for row in rows)
    answer = _("No case is open.")
    if rows:
        answer = _(
            "{rows} {case_is} open.",
            rows=count_word(len(rows), capital=True),
            case_is=plural(len(rows), "case is", "cases are"),
        )
        if ready:
            answer += _(
                " {ready} {waits} for a verdict.",
                ready=count_word(ready, capital=True),
                waits=plural(ready, "waits", "wait"),
            )
    return CasesPage(
        frame=plant.frame(_("Cases"), active="/cases"),
        answer=answer,
        under=_("A case ties suspicion, checks, what was done and the verdict of one press together"),
        rows=rows,
        closed=tuple(_row(connection, press, case, plant) for press, case in past),
        presses=press_choices(connection, actor=plant.actor),
        show_all=closed,
    )


def _row(connection: sa.Connection, press: str, case: Case, plant: Plant) -> CaseRow:
    found = press_by_code(connection, press)
    stage = stage_of(connection, found, case, now_ms=plant.now_ms) if found else "looking"
    return CaseRow(
        href=case_href(press, case.case_no),
        name=_("Case {case_no}", case_no=case.case_no),
        press=press,
        press_href=press_href(press),
        about=about_words(press, case),
        stage=worded(STAGE, stage) if case.is_open else worded(PROVEN, case.verdict),
        owner=case.owner,
        opened=plant.moment(case.opened_ms),
        closed=plant.moment(case.closed_ms) if case.closed_ms is not None else "",
        is_open=case.is_open,
    )


def stage_of(connection: sa.Connection, press: Press, case: Case, *, now_ms: int) -> str:
    """How far a case has come: `looking`, `waiting_for_shots`, `to_judge` or `closed`."""
    if not case.is_open:
        return "closed"
    actions = actions_of(connection, case)
    if not actions:
        return "looking"
    last = proof_of(connection, press, case, actions, action=actions[-1], now_ms=now_ms)
    return "to_judge" if last.verdict else "waiting_for_shots"


def about_words(press: str, case: Case) -> str:
    """What is suspected, or the alarm it came from."""
    if case.about:
        return case.about
    return (
        _("Alarm {public_id}", public_id=public_id(press, case.alarm_no))
        if case.alarm_no is not None
        else _("Nothing written down")
    )


def build_case(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> CasePage | None:
    """None: no such press or case."""
    found = press_by_code(connection, press)
    case = None if found is None else case_by_no(connection, found.press_id, number)
    if found is None or case is None:
        return None
    actions = actions_of(connection, case)
    proofs = [proof_of(connection, found, case, actions, action=one, now_ms=plant.now_ms) for one in actions]
    blocks = tuple(action_block(one, proof, plant) for one, proof in zip(actions, proofs, strict=True))
    return CasePage(
        frame=_frame(plant, press, number),
        answer=_answer(press, case, blocks),
        under=_under(press, case, plant),
        press=press,
        number=number,
        press_href=press_href(press),
        api_href=f"{press_api(press)}/cases/{number}",
        press_api=press_api(press),
        name=_("Case {number} of {press}", number=number, press=press),
        is_open=case.is_open,
        stage=worded(STAGE, _stage(case, actions, proofs)),
        owner=case.owner,
        about=case.about,
        facts=_facts(press, case, plant),
        actions=blocks,
        story=_story(connection, found, case, plant),
        earlier=earlier_rows(connection, case),
        verdicts=_verdicts(proofs),
        action_choices=tuple(
            Choice(str(one.number), f"{one.number}: {one.title}", one.number == len(blocks)) for one in blocks
        ),
        caution=caution_text("hot_melt", "lock_out"),
        closing=_closing(case, plant),
        links=(
            ("/containment", _("Suspect parts")),
            (f"/studies?press={press_href(press).removeprefix('/presses/')}", _("Studies")),
            (f"{press_href(press)}#next", _("Next steps")),
        ),
        choice=_choice(connection, found) if case.is_open else None,
    )


def _choice(connection: sa.Connection, press: Press) -> ChoiceBlock | None:
    found = choice_now(connection, press)
    if found is None:
        return None
    number, choice = found
    return choice_block(choice, href=valve_href(press.press, number))


def _frame(plant: Plant, press: str, number: int) -> Frame:
    return plant.frame(_("{press} case {number}", press=press, number=number), active="/cases")


def _stage(case: Case, actions: list[CaseAction], proofs: list[CaseProof]) -> str:
    if not case.is_open:
        return "closed"
    if not actions:
        return "looking"
    return "to_judge" if proofs[-1].verdict else "waiting_for_shots"


def _answer(press: str, case: Case, blocks: tuple[ActionBlock, ...]) -> str:
    if not case.is_open:
        return f"{press}: {verdict_words(case.verdict)}"
    if not blocks:
        return _("{press}: nothing has been changed yet; the cause is being looked for.", press=press)
    last = blocks[-1]
    if last.proposed:
        return _("{press}: {answer} Say what came of it.", press=press, answer=last.answer)
    return f"{press}: {last.answer}"


def _under(press: str, case: Case, plant: Plant) -> str:
    parts = [
        _("Case {case_no}", case_no=case.case_no),
        about_words(press, case),
        _("suspected since {onset}", onset=plant.moment(case.onset_ms)),
        _("with {owner}", owner=case.owner) if case.owner else _("nobody owns it"),
    ]
    return " · ".join(parts)


def _facts(press: str, case: Case, plant: Plant) -> tuple[tuple[str, str, str], ...]:
    """Name, value and address ('' for none)."""
    alarm = (_("Alarm"), public_id(press, case.alarm_no), "/alarms") if case.alarm_no is not None else None
    rows = [
        alarm,
        (_("Opened"), f"{plant.moment(case.opened_ms)}, {case.opened_by}", ""),
        (_("Suspected since"), plant.moment(case.onset_ms), ""),
        (_("Mold"), f"{case.mold} {case.material}".strip() or _("not known"), ""),
        (_("Valve"), worded(VALVE_STYLE, case.valve_style), "/valves"),
        (_("Owner"), case.owner or "nobody", ""),
    ]
    return tuple(row for row in rows if row is not None)


def _story(connection: sa.Connection, press: Press, case: Case, plant: Plant) -> tuple[TimelineRow, ...]:
    """The newest first: what happened last is asked for most."""
    return tuple(
        TimelineRow(
            at_text=plant.moment(one.at_ms), at_iso=plant.zone.iso(one.at_ms), what=one.text, who=one.who
        )
        for one in reversed(story_of(connection, press, case, now_ms=plant.now_ms))
    )


def _verdicts(proofs: list[CaseProof]) -> tuple[Choice, ...]:
    proposed = proofs[-1].verdict if proofs else ""
    wanted = [one for one in VERDICTS if proposed or one == "cannot_say"]
    return tuple(
        Choice(
            one,
            worded(PROVEN, one) + (_(" (what the shots propose)") if one == proposed else ""),
            one == proposed,
        )
        for one in wanted
    )


def _closing(case: Case, plant: Plant) -> tuple[str, ...]:
    if case.is_open:
        return ()
    lines = [
        _(
            "Closed {closed} by {closed_by}: {proven}.",
            closed=plant.moment(case.closed_ms),
            closed_by=case.closed_by,
            proven=worded(PROVEN, case.verdict),
        )
    ]
    said = case.evidence.get("found", {}).get("text", "") if case.evidence else ""
    if said:
        lines.append(_("The shots said: {said}", said=said))
    proposed = case.evidence.get("verdict", "") if case.evidence else ""
    if proposed and proposed != case.verdict:
        lines.append(
            _(
                "They proposed: {proven}. A verdict they do not bear out counts nothing in the score.",
                proven=worded(PROVEN, proposed),
            )
        )
    if case.closing_note:
        lines.append(case.closing_note)
    return tuple(lines)


def earlier_rows(connection: sa.Connection, case: Case, *, limit: int = 12) -> tuple[EarlierRow, ...]:
    """What was tried in closed cases on this press, this mold or this style of valve; what worked first."""
    found = proven_cases(connection, press_id=case.press_id, mold=case.mold, valve_style=case.valve_style)
    rows = []
    for press, one in sorted(found, key=lambda pair: VERDICTS.index(pair[1].verdict)):
        if (one.press_id, one.case_no) == (case.press_id, case.case_no):
            continue
        done = [a for a in actions_of(connection, one) if a.action_no == one.action_no]
        if not done:
            continue
        what = worded(ACTION, done[0].kind) + (f" ({done[0].what})" if done[0].what else "")
        rows.append(
            EarlierRow(
                text=f"{what.capitalize() if what.islower() else what[0].upper() + what[1:]}:"
                f" {worded(PROVEN, one.verdict)}",
                href=case_href(press, one.case_no),
                name=_("case {case_no} of {press}", case_no=one.case_no, press=press),
                where=_where(case, one),
            )
        )
        if len(rows) == limit:
            break
    return tuple(rows)


def _where(case: Case, other: Case) -> str:
    same = []
    if case.press_id == other.press_id:
        same.append(_("this press"))
    if case.mold and case.mold == other.mold:
        same.append(_("this mold"))
    if case.valve_style and case.valve_style == other.valve_style:
        same.append(_("this style of valve"))
    return ", ".join(same)
