"""Papers of one press: a startup record, a study, a setting trial, a case from suspicion to proof."""

import dataclasses
from typing import Any

import sqlalchemy as sa

from server.clock import as_text
from server.derived.baseline_report import BaselineReport, SignalReport, baseline_report
from server.derived.qualification import QUALIFIED
from server.show.build_cases import build_case
from server.show.build_studies import build_study
from server.show.build_trials import build_trial
from server.show.case_rows import ActionBlock
from server.show.paper import Block, Paper
from server.show.plant_words import Plant
from server.store import sheets
from server.store.plant import Press, press_by_code
from server.store.records import Baseline, baseline_by_no
from server.words.catalogue import signal_name
from server.words.numbers import number, whole
from server.words.units import Units, signal_places, signal_quantity, signal_text

_LEFT_OUT = {
    "warm_up": "warm-up", "transient": "settling after a restart", "outlier": "far off",
    "not_good": "part not good", "restart": "after a restart",
}  # fmt: skip
_STATE = {"draft": "waiting for approval", "approved": "approved", "retired": "retired"}
#: Left-out shots listed one by one; the table of signals counts all of them.
_LISTED = 40


def record_paper(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> Paper | None:
    """The record at process startup with its phase-one report. None: there is no such record."""
    found = press_by_code(connection, press)
    kept = None if found is None else baseline_by_no(connection, found.press_id, number)
    if found is None or kept is None:
        return None
    report = baseline_report(connection, found, kept)
    of = " · ".join(part for part in (kept.mold, kept.material, kept.setup) if part)
    return Paper(
        title=f"Startup record {number} of press {press}",
        answer=_record_answer(report),
        under=of,
        blocks=(
            _limits_block(report, plant.units),
            _phase_one_block(report, plant.units),
            *_left_out_block(report, plant),
            _beside_block(report),
            _approval_block(found, kept, plant),
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


def _record_answer(report: BaselineReport) -> str:
    kept, short = report.baseline, [signal for signal in report.signals if not signal.sufficient]
    state = _STATE[kept.state]
    if short:
        names = ", ".join(signal_name(signal.signal) for signal in short)
        return f"{whole(kept.shots)} shots, {state}; not enough for {names}."
    return f"{whole(kept.shots)} shots, {state}; every signal kept rests on enough of them."


def _limits_block(report: BaselineReport, units: Units) -> Block:
    rows = [
        (
            signal_name(one.signal), signal_text(one.signal, one.center, units),
            signal_text(one.signal, one.lower, units) if one.lower is not None else "none",
            signal_text(one.signal, one.upper, units) if one.upper is not None else "none",
            _spread(one.signal, one.sigma, units), whole(one.n),
            ", ".join(f"{count} {_LEFT_OUT.get(why, why)}" for why, count in one.left_out.items()) or "none",
        )
        for one in report.signals
    ]  # fmt: skip
    missing = tuple(f"{signal_name(name)}: {why}" for name, why in report.missing.items())
    head = ("Signal", "Middle", "Lower limit", "Upper limit", "Sigma", "Shots", "Left out")
    return Block("Middles and limits", missing, head=head, rows=tuple(rows))


def _phase_one_block(report: BaselineReport, units: Units) -> Block:
    head = (
        "Signal", "Shots", "Worth", "Sigma within", "Sigma total (95 %)", "Auto- correlation", "Display step",
        "Normal shape", "Stable", "Shots to a false alarm", "Enough",
    )  # fmt: skip
    rows = tuple(_judged_row(one, units) for one in report.signals)
    short = [one for one in report.signals if not one.sufficient]
    said = tuple(f"{signal_name(one.signal)}: {one.sufficiency}" for one in short)
    return Block("How the record was judged", said, head=head, rows=rows)


def _judged_row(one: SignalReport, units: Units) -> tuple[str, ...]:
    def spread(value: float | None) -> str:
        return "–" if value is None else _spread(one.signal, value, units)

    total = spread(one.sigma_total)
    if one.sigma_lower is not None and one.sigma_upper is not None:
        total += f" ({spread(one.sigma_lower)} to {spread(one.sigma_upper)})"
    return (
        signal_name(one.signal), whole(one.n), whole(one.n_effective), spread(one.sigma_within), total,
        "–" if one.phi is None else number(one.phi, 2), spread(one.step),
        {True: "yes", False: "no", None: "not tested"}[one.normal],
        {True: "yes", False: "no", None: "not said"}[one.stable],
        "–" if one.run_length_kept is None else whole(one.run_length_kept),
        "yes" if one.sufficient else "no",
    )  # fmt: skip


def _spread(signal: str, value: float, units: Units) -> str:
    shown = units.shown_difference(signal_quantity(signal), value)
    return f"{shown:.{signal_places(signal, units) + 1}f}"


def _left_out_block(report: BaselineReport, plant: Plant) -> tuple[Block, ...]:
    if not report.left_out:
        return ()
    rows = tuple(
        (
            str(one.index + 1), "not told" if one.at_ms is None else plant.zone.iso(one.at_ms),
            "–" if one.counter is None else str(one.counter), _LEFT_OUT.get(one.reason, one.reason),
            ", ".join(map(signal_name, one.signals)),
        )
        for one in report.left_out[:_LISTED]
    )  # fmt: skip
    more = len(report.left_out) - len(rows)
    sentences = [f"{more} more are not listed; the table above counts them."] if more > 0 else []
    if report.shots_changed:
        sentences.append("Shots of this stretch came or went after the capture: times cannot be told.")
    head = ("Shot", "Time", "Counter", "Why it was left out", "Of")
    return (Block("Shots left out", tuple(sentences), head=head, rows=rows),)


def _beside_block(report: BaselineReport) -> Block:
    if report.qualification.status == QUALIFIED:
        text = "Qualified: a drift check and a short-shot study that came out well stand beside it."
    else:
        text = (
            "Relative only: it tells that something changed, not that the valve was good at its capture."
            " A drift check and a short-shot study of that time would qualify it."
        )
    return Block("What stands beside it", (text,))


def _approval_block(press: Press, kept: Baseline, plant: Plant) -> Block:
    facts = [("Captured by", kept.captured_by)]
    if kept.approved_by and kept.approved_ms is not None:
        facts.append(("Approved by", f"{kept.approved_by}, {plant.zone.iso(kept.approved_ms)}"))
    said = (("Note", kept.note), ("Why approved", kept.approved_note), ("Why retired", kept.retired_note))
    facts += [(name, value) for name, value in said if value]
    if press.name:
        facts.append(("Press", f"{press.press} {press.name}"))
    return Block("Who", facts=tuple(facts))


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
