"""Papers of one press: a startup record, a study, a setting trial, a case from suspicion to proof."""

import dataclasses
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from server.clock import as_text
from server.language import _
from server.show.baseline_pages import ReportPage
from server.show.build_baseline_report import build_baseline_report
from server.show.build_cases import build_case
from server.show.build_studies import build_study
from server.show.build_trials import build_trial
from server.show.case_rows import ActionBlock
from server.show.paper import Block, Paper
from server.show.plant_words import Plant
from server.store import sheets
from server.store.plant import press_by_code
from server.store.records import baseline_by_no
from server.words.numbers import whole

#: Signals drawn on paper; the page draws every one.
_DRAWN = 6


def record_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """The record at process startup with its phase-one report. None: there is no such record."""
    page = build_baseline_report(connection, plant, press=press, number=number)
    found = press_by_code(connection, press)
    kept = None if found is None else baseline_by_no(connection, found.press_id, number)
    if page is None or kept is None:
        return None
    return Paper(
        title=_("Startup record {number} of press {press}", number=number, press=press),
        answer=page.answer,
        under=page.under,
        blocks=(
            _signals_block(page),
            Block(_("What stands beside it"), (page.qualification,)),
            Block(_("The record"), facts=tuple((fact.name, fact.value) for fact in page.facts)),
            *(
                Block(one.signal, (one.says,), ((_("Values"), one.bars), (_("Over time"), one.course)))
                for one in page.drawn[:_DRAWN]
            ),
            *_left_out_block(page),
        ),
        basis={
            "kind": "startup_record",
            "press": press,
            "record": number,
            "from": as_text(kept.from_ms),
            "to": as_text(kept.to_ms),
            "shots": kept.shots,
            "kept": dict(kept.signals),
        },
        identity=(
            (_("Shots"), whole(kept.shots)),
            (_("From"), plant.zone.iso(kept.from_ms)),
            (_("To"), plant.zone.iso(kept.to_ms)),
            (_("Limits"), _("of record {number}", number=number)),
        ),
    )


def _signals_block(page: ReportPage) -> Block:
    head = (
        _("Signal"),
        _("Verdict"),
        _("Shots"),
        _("Middle, mean"),
        _("Sigma within"),
        _("Sigma total"),
        _("Limits"),
        _("False alarm"),
        _("Neighbours"),
        _("Shape"),
        _("Step"),
    )
    rows = tuple(
        (
            one.signal, one.verdict, _lines(one.shots), _lines(one.middle), one.within, _lines(one.total),
            _lines(one.limits), _lines(one.false_alarm), _lines(one.alike), _lines(one.shape), one.step,
        )
        for one in page.signals
    )  # fmt: skip
    missing = tuple(f"{fact.name}: {fact.value}" for fact in page.missing)
    texts = dict.fromkeys(one.left_out for one in page.signals if one.left_out)
    left_out = tuple(
        _(
            "Left out: {value} ({join})",
            value=text,
            join=", ".join(one.signal for one in page.signals if one.left_out == text),
        )
        for text in texts
    )
    return Block(_("How the record was judged"), (*missing, *left_out), head=head, rows=rows)


def _lines(parts: Sequence[str]) -> str:
    return "; ".join(part for part in parts if part)


def _left_out_block(page: ReportPage) -> tuple[Block, ...]:
    if not page.left_out:
        return ()
    rows = tuple((one.shot, one.at_text, one.reason, one.signals) for one in page.left_out)
    said = (page.left_out_note,) if page.left_out_note else ()
    return (Block(_("Shots left out"), said, head=(_("Shot"), _("Time"), _("Why"), _("Of")), rows=rows),)


def study_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """One study that was kept; cautions first. None: there is no such study."""
    page = build_study(connection, plant, press=press, number=number)
    found = press_by_code(connection, press)
    kept = None if found is None else sheets.study_by_no(connection, found.press_id, number)
    if page is None or kept is None:
        return None
    said = tuple(text for text in (page.text, f"“{page.note}”" if page.note else "", page.confirmed) if text)
    photos = tuple(
        (_("Photo {i}: {caption}", i=i, caption=one.caption), one.by)
        for i, one in enumerate(page.photos, start=1)
    )
    return Paper(
        title=_("{title}, study {number}", title=page.frame.title, number=number),
        answer=page.answer,
        under=page.under,
        blocks=(
            Block(_("What came out"), said, facts=page.facts, head=page.table_head, rows=page.table),
            *(Block(title, pictures=((title, picture),)) for title, picture in page.figures),
            *([Block(_("Photos kept with it"), facts=photos)] if photos else ()),
        ),
        basis={
            "kind": "study",
            "press": press,
            "study": number,
            "of": kept.kind,
            "at": as_text(kept.at_ms),
            "asked": dict(kept.asked),
            "result": dict(kept.result),
            "verdict": kept.verdict,
        },
        identity=(
            (_("At"), plant.zone.iso(kept.at_ms)),
            (_("Mold"), kept.mold or "none"),
            (_("By"), kept.author),
        ),
        cautions=(page.caution,) if page.caution else (),
    )


def trial_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """A setting trial with what its levels came to. None: there is no such trial."""
    page = build_trial(connection, plant, press=press, number=number)
    if page is None:
        return None
    head = (
        _("Level"),
        _("Shots"),
        _("Scatter"),
        "95 %",
        _("Best"),
        _("Mean"),
        _("Against today's"),
        "95 %",
        _("Recovery"),
        _("Cycle"),
        _("Splay"),
    )
    rows = tuple(
        (
            _("{name} (today's)", name=one.name) if one.is_today else one.name,
            one.shots,
            one.sigma,
            one.sigma_interval,
            one.best,
            one.mean,
            one.difference,
            one.difference_interval,
            one.recovery,
            one.cycle,
            one.splay,
        )
        for one in page.levels
    )
    pictures = tuple((one.name, one.picture) for one in page.levels)
    return Paper(
        title=page.frame.title,
        answer=page.answer,
        under=page.under,
        blocks=(
            Block(_("Levels"), facts=page.facts, pictures=pictures, head=head, rows=rows),
            Block(_("Looks"), page.looks),
            Block(_("What could be seen"), page.power),
        ),
        basis={
            "kind": "trial",
            "press": press,
            "trial": number,
            "answer": page.answer,
            "levels": [list(row) for row in rows],
        },
        identity=((_("Levels"), str(len(rows))), (_("State"), "running" if page.runs else "ended")),
        cautions=(page.cautions,) if page.cautions else (),
    )


def case_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """A case from suspicion to proof, as it stood when the paper was made. None: there is no such case."""
    page = build_case(connection, plant, press=press, number=number)
    if page is None:
        return None
    told = tuple((one.at_text, one.what, one.who) for one in reversed(page.story))
    return Paper(
        title=page.name,
        answer=page.answer,
        under=page.under,
        blocks=(
            Block(_("The case"), page.closing, facts=tuple((name, value) for name, value, _ in page.facts)),
            *(_action(one) for one in page.actions),
            Block(_("What happened, in order"), head=(_("When"), _("What"), _("Who")), rows=told),
        ),
        basis={
            "kind": "case",
            "press": press,
            "case": number,
            "stage": page.stage,
            "closing": list(page.closing),
            "actions": [
                {"title": one.title, "answer": one.answer, "figures": [_figures(row) for row in one.rows]}
                for one in page.actions
            ],
            "story": [[one.at_iso, one.what, one.who] for one in reversed(page.story)],
        },
        identity=((_("Stage"), page.stage), (_("Entries"), str(len(told)))),
        cautions=(page.caution,) if page.caution else (),
    )


def _action(one: ActionBlock) -> Block:
    head = (_("Figure"), _("Record"), _("Before"), _("After"), _("Change"), "")
    rows = tuple(
        (row.name, row.record, *(f"{cell.text} {cell.interval}".strip() for cell in _cells(row)), row.says)
        for row in one.rows
    )
    pictures = tuple((row.name, row.picture) for row in one.rows if row.picture is not None)
    who = f"{one.at_text}, {one.who}" if one.who else one.at_text
    said = tuple(text for text in (who, one.answer, one.under, one.proposed_text) if text)
    return Block(
        _("Action {number}: {title}", number=one.number, title=one.title),
        said,
        pictures,
        head=head if rows else (),
        rows=rows,
    )


def _cells(row: Any) -> tuple[Any, Any, Any]:
    return row.before, row.after, row.change


def _figures(row: Any) -> dict[str, Any]:
    cells = zip(("before", "after", "change"), _cells(row), strict=True)
    return {"name": row.name, "says": row.says} | {name: dataclasses.asdict(cell) for name, cell in cells}
