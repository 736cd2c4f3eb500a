"""Papers of one press: a startup record, a study, a setting trial, a case from suspicion to proof."""

import dataclasses
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa

from server.clock import as_text
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
        title=f"Startup record {number} of press {press}",
        answer=page.answer,
        under=page.under,
        blocks=(
            _signals_block(page),
            Block("What stands beside it", (page.qualification,)),
            Block("The record", facts=tuple((fact.name, fact.value) for fact in page.facts)),
            *(
                Block(one.signal, (one.says,), (("Values", one.bars), ("Over time", one.course)))
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
            ("Shots", whole(kept.shots)),
            ("From", plant.zone.iso(kept.from_ms)),
            ("To", plant.zone.iso(kept.to_ms)),
            ("Limits", f"of record {number}"),
        ),
    )


def _signals_block(page: ReportPage) -> Block:
    head = (
        "Signal", "Verdict", "Shots", "Middle, mean", "Sigma within", "Sigma total", "Limits", "False alarm",
        "Neighbours", "Shape", "Step",
    )  # fmt: skip
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
        f"Left out: {text} ({', '.join(one.signal for one in page.signals if one.left_out == text)})"
        for text in texts
    )
    return Block("How the record was judged", (*missing, *left_out), head=head, rows=rows)


def _lines(parts: Sequence[str]) -> str:
    return "; ".join(part for part in parts if part)


def _left_out_block(page: ReportPage) -> tuple[Block, ...]:
    if not page.left_out:
        return ()
    rows = tuple((one.shot, one.at_text, one.reason, one.signals) for one in page.left_out)
    said = (page.left_out_note,) if page.left_out_note else ()
    return (Block("Shots left out", said, head=("Shot", "Time", "Why", "Of"), rows=rows),)


def study_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """One study that was kept; cautions first. None: there is no such study."""
    page = build_study(connection, plant, press=press, number=number)
    found = press_by_code(connection, press)
    kept = None if found is None else sheets.study_by_no(connection, found.press_id, number)
    if page is None or kept is None:
        return None
    said = tuple(text for text in (page.text, f"“{page.note}”" if page.note else "", page.confirmed) if text)
    photos = tuple((f"Photo {i}: {one.caption}", one.by) for i, one in enumerate(page.photos, start=1))
    return Paper(
        title=f"{page.frame.title}, study {number}",
        answer=page.answer,
        under=page.under,
        blocks=(
            Block("What came out", said, facts=page.facts, head=page.table_head, rows=page.table),
            *(Block(title, pictures=((title, picture),)) for title, picture in page.figures),
            *([Block("Photos kept with it", facts=photos)] if photos else ()),
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
        identity=(("At", plant.zone.iso(kept.at_ms)), ("Mold", kept.mold or "none"), ("By", kept.author)),
        cautions=(page.caution,) if page.caution else (),
    )


def trial_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """A setting trial with what its levels came to. None: there is no such trial."""
    page = build_trial(connection, plant, press=press, number=number)
    if page is None:
        return None
    head = (
        "Level", "Shots", "Scatter", "95 %", "Best", "Mean", "Against today's", "95 %", "Recovery", "Cycle",
        "Splay",
    )  # fmt: skip
    rows = tuple(
        (
            f"{one.name} (today's)" if one.is_today else one.name, one.shots, one.sigma, one.sigma_interval,
            one.best, one.mean, one.difference, one.difference_interval, one.recovery, one.cycle, one.splay,
        )
        for one in page.levels
    )  # fmt: skip
    pictures = tuple((one.name, one.picture) for one in page.levels)
    return Paper(
        title=page.frame.title,
        answer=page.answer,
        under=page.under,
        blocks=(
            Block("Levels", facts=page.facts, pictures=pictures, head=head, rows=rows),
            Block("Looks", page.looks),
            Block("What could be seen", page.power),
        ),
        basis={
            "kind": "trial",
            "press": press,
            "trial": number,
            "answer": page.answer,
            "levels": [list(row) for row in rows],
        },
        identity=(("Levels", str(len(rows))), ("State", "running" if page.runs else "ended")),
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
            Block("The case", page.closing, facts=tuple((name, value) for name, value, _ in page.facts)),
            *(_action(one) for one in page.actions),
            Block("What happened, in order", head=("When", "What", "Who"), rows=told),
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
        identity=(("Stage", page.stage), ("Entries", str(len(told)))),
        cautions=(page.caution,) if page.caution else (),
    )


def _action(one: ActionBlock) -> Block:
    head = ("Figure", "Record", "Before", "After", "Change", "")
    rows = tuple(
        (row.name, row.record, *(f"{cell.text} {cell.interval}".strip() for cell in _cells(row)), row.says)
        for row in one.rows
    )
    pictures = tuple((row.name, row.picture) for row in one.rows if row.picture is not None)
    who = f"{one.at_text}, {one.who}" if one.who else one.at_text
    said = tuple(text for text in (who, one.answer, one.under, one.proposed_text) if text)
    return Block(f"Action {one.number}: {one.title}", said, pictures, head=head if rows else (), rows=rows)


def _cells(row: Any) -> tuple[Any, Any, Any]:
    return row.before, row.after, row.change


def _figures(row: Any) -> dict[str, Any]:
    cells = zip(("before", "after", "change"), _cells(row), strict=True)
    return {"name": row.name, "says": row.says} | {name: dataclasses.asdict(cell) for name, cell in cells}
