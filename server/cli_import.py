"""`ringtell import`: a file looked at, read as told, stored with a progress bar, the refused rows kept."""

import argparse
import csv
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from tqdm import tqdm

from server.app import Objects, build_objects
from server.clock import now_ms
from server.errors import NotFoundError, UsageError
from server.import_jobs import options_text
from server.import_run import Outcome, run_import
from server.ingest.receive import Received
from server.ingest.survey import Survey, planned, survey
from server.ingest.table_plan import Plan, document_of, plan_of
from server.say import say
from server.settings import Settings
from server.store import engine, imports
from server.words.importing import flag_text, lag_text, question_text, sum_text

#: Rows of one transaction: nobody else writes much while a command runs.
_PIECE_ROWS = 20_000
#: What a question is answered with.
_ANSWERS = {
    "press": "--press P07", "time_zone": "--time-zone Europe/Berlin", "date_order": "--date-order day_first",
    "column": "--map 'Column=cushion_mm'",
}  # fmt: skip


def import_files(given: argparse.Namespace) -> None:
    """Rows of files as shots; the rejected ones go to a file with their reason."""
    plan = _plan(given)
    paths = [Path(name) for name in given.files]
    for path in paths:
        if not path.is_file():
            raise NotFoundError(f"{path}: there is no such file", field="file")
    looks = [_look(path, plan, quiet=not given.look) for path in paths]
    if given.save_mapping:
        Path(given.save_mapping).write_text(options_text(looks[0]) + "\n", encoding="utf-8")
        say(f"the mapping of {paths[0].name}: {given.save_mapping}")
    if given.look:
        return
    settings = Settings.from_environment()
    engine.upgrade(settings.direct_url)
    objects = build_objects(settings)
    try:
        for path, look in zip(paths, looks, strict=True):
            _import_one(objects, path, look, rejected=given.rejected)
        say("evaluating")
        objects.pipeline.evaluate_all()
    finally:
        objects.pipeline.close()
        objects.store.close()


# --- what is asked for --------------------------------------------------------------------------


def _plan(given: argparse.Namespace) -> Plan:
    """The mapping's file first, the options over it."""
    document: dict[str, Any] = dict(_read_mapping(given.mapping)) if given.mapping else {}
    for name, texts, option in (
        ("mapping", given.map, "--map"),
        ("units", given.unit, "--unit"),
        ("column_units", given.column_unit, "--column-unit"),
    ):
        if texts:
            document[name] = {**document.get(name, {}), **pairs(texts, option)}
    labels = {name: getattr(given, name) for name in ("press", "mold", "material", "lot", "setup")}
    named = {name: value for name, value in labels.items() if value}
    if named:
        document["defaults"] = {**document.get("defaults", {}), **named}
    for name in ("time_zone", "time_format", "date_order", "sheet", "encoding", "cavities", "only_press"):
        if getattr(given, name):
            document[name] = getattr(given, name)
    if given.delimiter:
        document["delimiter"] = "\t" if given.delimiter in ("tab", "\\t") else given.delimiter
    if given.decimal:
        document["decimal_comma"] = given.decimal == "comma"
    if given.unwrap:
        document["unwrap"] = True
    if given.getid:
        document["getid"] = Path(given.getid).read_text("cp1252", errors="replace")
    return plan_of(document)


def _read_mapping(name: str) -> Mapping[str, Any]:
    try:
        document = json.loads(Path(name).read_text(encoding="utf-8"))
    except ValueError as error:
        raise UsageError(f"--mapping {name}: {error}; --save-mapping writes such a file") from None
    if not isinstance(document, dict):
        raise UsageError(f"--mapping {name}: an object is needed; --save-mapping writes such a file")
    # A mapping without anything around it may be just columns and fields.
    return document if "mapping" in document else {"mapping": document}


def pairs(texts: list[str], option: str) -> dict[str, str]:
    """`NAME=VALUE` texts; the last `=` divides, since names of columns hold some."""
    found = {}
    for text in texts:
        name, sign, value = text.rpartition("=")
        if not sign or not name or not value:
            raise UsageError(f"{option} {text!r}: write it as NAME=VALUE")
        found[name] = value
    return found


# --- looking ------------------------------------------------------------------------------------


def _look(path: Path, plan: Plan, *, quiet: bool) -> Plan:
    """The plan with what the file says itself. What it leaves open is a `UsageError`."""
    plan = _with_names(path, plan)
    found = survey(path, plan, received_ms=now_ms())
    if not quiet:
        for line in look_lines(path, found):
            say(line)
    open_ = [one for one in found.questions if one.code in _ANSWERS]
    if open_ and quiet:
        one = open_[0]
        asked = question_text(one.code, one.about, one.facts)
        raise UsageError(f"{path.name}: {asked} Say so with {_ANSWERS[one.code]} (--look shows all of it)")
    for flag in found.flags if quiet else ():
        say(f"{path.name}: {flag_text(flag.code, flag.field, flag.facts)}")
    for question in found.questions if quiet else ():
        say(f"{path.name}: {question_text(question.code, question.about, question.facts)}")
    return planned(found, plan)


def _with_names(path: Path, plan: Plan) -> Plan:
    """Columns named on the command line go over what their names suggest; the others stay."""
    if not plan.mapping:
        return plan
    guessed = planned(survey(path, Plan(**{**document_of(plan), "mapping": {}}), received_ms=now_ms()), plan)
    taken = set(plan.mapping.values()) - {"at"}
    names = {
        column: field
        for column, field in guessed.mapping.items()
        if field not in taken and not (field == "at" and "at" in plan.mapping.values())
    }
    return Plan(**{**document_of(plan), "mapping": {**names, **plan.mapping}})


def look_lines(path: Path, found: Survey) -> Iterator[str]:
    """What a look found, line by line."""
    rows = "a long file" if found.rows_total is None else f"{found.rows_total:,} rows"
    marks = "decimal commas" if found.decimal_comma else "decimal points"
    yield f"{path.name}: {rows}, {found.kind} {found.encoding}, {marks}, dates {found.dates.order or 'open'}"
    for one in found.columns:
        target = f"{one.field} [{one.unit}]" if one.unit and one.field else one.field or "passed over"
        yield f"  {one.name:32} {target:32} {', '.join(one.cells)}"
    for name, test in found.sums:
        yield sum_text(name, test)
    yield lag_text(found.dose_lag)
    yield from (f"asked: {question_text(one.code, one.about, one.facts)}" for one in found.questions)
    yield from (f"flagged: {flag_text(one.code, one.field, one.facts)}" for one in found.flags)


# --- storing ------------------------------------------------------------------------------------


def _import_one(objects: Objects, path: Path, plan: Plan, *, rejected: str | None) -> None:
    number = objects.store.write(
        lambda connection: imports.add_import(
            connection, file_name=path.name, size=path.stat().st_size, who="command line", now_ms=now_ms()
        )
    )
    objects.store.write(
        lambda connection: imports.change_import(
            connection, number, state="running", options=document_of(plan), started_ms=now_ms()
        )
    )
    state, trouble = "failed", ""
    try:
        outcome = _with_bar(objects, path, plan, number)
        state = "done"
    except KeyboardInterrupt:
        state = "cancelled"
        raise
    except Exception as error:
        trouble = str(error)[:500]
        raise
    finally:
        objects.store.write(
            lambda connection: imports.change_import(
                connection, number, state=state, trouble=trouble, ended_ms=now_ms()
            )
        )
    said = (f"{getattr(outcome, name):,} {name}" for name in imports.COUNTS)
    say(f"import {number}: " + ", ".join(said))
    if outcome.rejected or outcome.conflict:
        target = Path(rejected) if rejected else path.with_name(path.name + ".rejected.csv")
        _write_rejected(objects, number, target)
        say(f"rejected rows with their reasons: {target}")


def _with_bar(objects: Objects, path: Path, plan: Plan, number: int) -> Outcome:
    with tqdm(desc=path.name, total=100, unit="%", bar_format="{l_bar}{bar}| {elapsed} {postfix}") as bar:

        def report(share: float, answer: Received) -> None:
            seen.append(answer.received)
            bar.update(max(0.0, min(100.0, 100.0 * share) - bar.n))
            bar.set_postfix_str(f"{sum(seen):,} rows", refresh=False)

        seen: list[int] = []
        outcome = run_import(
            objects.pipeline, path, plan, import_no=number, report=report, piece_rows=_PIECE_ROWS
        )
        bar.update(100.0 - bar.n)
    return outcome


def _write_rejected(objects: Objects, number: int, target: Path) -> None:
    """A piece at a time, however many there are."""
    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("row", "field", "code", "reason", "raw"))
        after = -1
        while True:
            with objects.store.read() as connection:
                one = imports.import_by_no(connection, number)
                assert one is not None
                rows = imports.rejected_of(connection, one, now_ms=now_ms(), after=after)
            if not rows:
                return
            writer.writerows((r["row_no"], r["field"], r["code"], r["message"], r["raw"]) for r in rows)
            after = rows[-1]["row_no"]
