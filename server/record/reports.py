"""Making a report: kept with what it rests on, so that its link holds."""

import sqlalchemy as sa

from server.store.audit import PLANT, add_audit
from server.store.reports import Report, add_report


def keep_report(connection: sa.Connection, report: Report, *, press_id: int | None) -> Report:
    """Keep a report under the next number, with a line in the trail of its press (None: the plant's)."""
    kept = add_report(connection, report)
    add_audit(
        connection,
        PLANT if press_id is None else press_id,
        who=report.made_by,
        action="report_made",
        subject=str(kept.report_no),
        now_ms=report.made_ms,
        after={
            "kind": kept.kind,
            "subject": kept.subject,
            "number": kept.number,
            "digest": kept.digest,
        },
    )
    return kept
