"""Reports that were made: kept once, read by number."""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_plant
from server.store.records import Study, list_studies
from server.store.tables import reports, scores


@dataclasses.dataclass(frozen=True)
class Report:
    """A report as it was made. subject: a mold, a press (`number`: which record, study, trial or case of
    it) or an area ('' for the plant); basis: the numbers it rests on; digest: their SHA-256 (hex)."""

    report_no: int
    kind: str
    subject: str
    number: int
    from_ms: int
    to_ms: int
    basis: Mapping[str, Any]
    digest: str
    software: str
    made_ms: int
    made_by: str
    note: str


def add_report(connection: sa.Connection, report: Report) -> Report:
    """Keep a report under the next number."""
    kept = dataclasses.replace(report, report_no=next_of_plant(connection, reports.c.report_no))
    values = dataclasses.asdict(kept) | {"basis": json.dumps(kept.basis, sort_keys=True)}
    connection.execute(sa.insert(reports).values(**values))
    return kept


def report_by_no(connection: sa.Connection, number: int) -> Report | None:
    row = connection.execute(sa.select(reports).where(reports.c.report_no == number)).one_or_none()
    return None if row is None else _report(row)


def list_reports(connection: sa.Connection, *, before: int | None = None, limit: int = 100) -> list[Report]:
    """The newest first; `before`: those with a smaller number."""
    query = sa.select(reports).order_by(reports.c.report_no.desc()).limit(limit)
    if before is not None:
        query = query.where(reports.c.report_no < before)
    return [_report(row) for row in connection.execute(query)]


def _report(row: Any) -> Report:
    return Report(**{**row._mapping, "basis": json.loads(row.basis)})


def highest_score(connection: sa.Connection, press_id: int, *, from_ms: int, to_ms: int) -> float | None:
    """The largest log-odds of a stretch (`to_ms` exclusive); None where nothing was judged."""
    found = connection.execute(
        sa.select(sa.func.max(scores.c.log_odds)).where(
            scores.c.press_id == press_id, scores.c.at_ms >= from_ms, scores.c.at_ms < to_ms
        )
    ).scalar_one()
    return None if found is None else float(found)


def studies_between(connection: sa.Connection, *, from_ms: int, to_ms: int) -> list[tuple[str, Study]]:
    """Studies of a stretch with the code of their press, in order of time."""
    found: list[tuple[str, Study]] = []
    after: tuple[int, int, int] | None = (to_ms, -1, 0)
    while after is not None:
        page = list_studies(connection, after=after, limit=500)
        found += [one for one in page if from_ms <= one[1].at_ms < to_ms]
        last = page[-1][1] if len(page) == 500 and page[-1][1].at_ms >= from_ms else None
        after = None if last is None else (last.at_ms, last.press_id, last.study_no)
    return found[::-1]
