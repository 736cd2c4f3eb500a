"""Reports: made once, shown by their number for good, as a page, as PDF and as the numbers they rest on."""

import datetime as dt
import re
from typing import Annotated, Any

import sqlalchemy as sa
from fastapi import APIRouter, Body, Path, Query, Request
from fastapi.responses import Response

from server import __version__, clock
from server.access.actors import need
from server.errors import InvalidError, NotFoundError
from server.language import N_, _
from server.record.fields import Given, shown
from server.record.reports import keep_report
from server.routes.assets import assets
from server.routes.calls import actor_of, allow, code_of, cursor_text, objects_of, page_of, read_cursor
from server.routes.calls import write as run
from server.routes.pages import actor_of as looking
from server.routes.pages import page_answer, render
from server.show.paper import digest_of
from server.show.papers import KINDS, Asked, build_paper
from server.show.plant_words import Plant, plant_at
from server.show.report_page import SPANS, ReportPage, build_report, build_reports
from server.store.plant import press_by_code
from server.store.reports import Report, list_reports, report_by_no
from server.typeset import for_drawings
from server.words.shifts import shift_at
from server.words.times import DAY

router = APIRouter(tags=["reports"])

Number = Annotated[int, Path(ge=1, lt=1 << 31)]
#: Colours of a drawing on paper: black, greys and shapes, readable without colour.
_INKS = {
    "ink": "#000", "soft": "#333", "line": "#999", "hairline": "#777", "press": "#000", "now": "#000",
    "shift": "#000", "week": "#000", "band": "#c4c4c4", "now-band": "#9a9a9a", "paper": "#fff",
    "font": "DejaVu Sans, sans-serif",
}  # fmt: skip
#: Where a drawing begins.
_DRAWING = re.compile(r"<svg [^>]*>")
_FIELDS = ("kind", "subject", "number", "from", "to", "span", "note")


@router.get("/api/v1/reports")
def get_reports(
    request: Request, limit: Annotated[int, Query(ge=1, le=1_000)] = 100, cursor: str | None = None
) -> dict[str, Any]:
    """Reports that were made, newest first."""
    allow(request, "read")
    before = None if cursor is None else read_cursor(cursor, length=1)[0]
    with objects_of(request).store.read() as connection:
        found = list_reports(connection, before=before, limit=limit + 1)
    page = found[:limit]
    after = cursor_text([page[-1].report_no]) if len(found) > limit else None
    return page_of([_item(one) for one in page], after)


@router.post("/api/v1/reports")
def make_report(request: Request, body: Annotated[Any, Body()]) -> dict[str, Any]:
    """Make a report of a mold, of a press's record, study, trial or case, or of valve health in a stretch.

    `kind`, `subject` (mold, press, or area; empty for the plant), `number` of a press's record, study, trial
    or case; `from` and `to`, or `span`: `last_30_days`, `this_month`, `last_month`, `this_shift`,
    `last_shift`.
    """
    actor = allow(request, "record", press=_press_named(body))
    given = Given.of(body, known=_FIELDS)
    given.need("kind")
    kind = given.choice("kind", tuple(KINDS))
    subject = code_of(given.text("subject"))
    press = subject if KINDS[kind].of == "press" else None
    objects = objects_of(request)
    now_ms = objects.now_ms()
    with objects.store.read() as connection:
        plant = plant_at(connection, now_ms=now_ms, actor=looking(request))
        asked = _asked(given, kind, subject, plant)
        paper = build_paper(connection, plant, asked)
        found = None if press is None else press_by_code(connection, press)
    if paper is None:
        what = f"{KINDS[kind].name.lower()} {asked.number} of {subject}" if asked.number else subject
        raise NotFoundError(N_("there is no {what}", what=what), field="subject")
    report = Report(
        report_no=0,
        kind=kind,
        subject=subject,
        number=asked.number,
        from_ms=asked.from_ms,
        to_ms=asked.to_ms,
        basis=paper.basis,
        digest=digest_of(paper.basis),
        software=__version__,
        made_ms=now_ms,
        made_by=actor.name,
        note=given.note(),
    )
    kept = run(
        request,
        lambda c: keep_report(c, report, press_id=None if found is None else found.press_id),
    )
    return _item(kept) | {"text": _("Report {number} is made.", number=kept.report_no)}


@router.get("/api/v1/reports/{number}")
def get_report(request: Request, number: Number) -> dict[str, Any]:
    """A report with the numbers it was made with, and whether its inputs give the same ones now."""
    report, page = _page(request, number)
    return _item(report) | {
        "title": page.title,
        "answer": page.paper.answer,
        "same": not page.changed,
        "changed": list(page.changed),
        "basis": report.basis,
    }


@router.get("/reports", include_in_schema=False)
def reports_page(request: Request) -> Response:
    return page_answer(request, "reports.html", build_reports)


@router.get("/reports/{number}", include_in_schema=False)
def report_page(request: Request, number: Number) -> Response:
    def build(connection: sa.Connection, plant: Plant) -> ReportPage | None:
        report = report_by_no(connection, number)
        return None if report is None else build_report(connection, plant, report)

    return page_answer(request, "report.html", build)


@router.get("/api/v1/reports/{number}/pdf", response_class=Response)
def report_pdf(request: Request, number: Number) -> Response:
    """The paper itself, as PDF."""
    report, page = _page(request, number)
    made: bytes = request.app.state.ringtell.typesetter.pdf(_as_paper(page))
    return Response(
        made,
        media_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="report-{report.report_no}.pdf"',
            "Cache-Control": "no-store",
            "X-Content-Type-Options": "nosniff",
        },
    )


def _as_paper(page: ReportPage) -> str:
    """One text with everything in it: style, drawings, words."""
    html = render("paper.html", page)
    rules = "".join(_sheet(f"css/{name}.css") for name in ("drawings", "studies", "work"))
    style = f"<style>{for_drawings(rules, _INKS)}</style>"
    html = html.replace("<style></style>", f"<style>{_sheet('css/paper_sheet.css')}</style>", 1)
    # Words are escaped: what opens a drawing is a drawing of ours.
    return _DRAWING.sub(lambda found: found[0] + style, html)


def _sheet(path: str) -> str:
    asset = assets().get(path)
    return "" if asset is None else asset.plain.decode()


def _page(request: Request, number: int) -> tuple[Report, ReportPage]:
    objects = objects_of(request)
    with objects.store.read() as connection:
        report = report_by_no(connection, number)
        # A key of one press reads the reports of that press alone.
        of_press = report is not None and KINDS[report.kind].of == "press"
        need(actor_of(request), "read", press=report.subject if report is not None and of_press else None)
        plant = plant_at(connection, now_ms=objects.now_ms(), actor=looking(request))
        page = None if report is None else build_report(connection, plant, report)
    if report is None or page is None:
        raise NotFoundError(
            N_("no report {number}; GET /api/v1/reports lists them", number=number), field="number"
        )
    return report, page


def _press_named(body: Any) -> str | None:
    """The press a report is asked of, before anything else of the body is looked at."""
    if not isinstance(body, dict):
        return None
    kind = KINDS.get(body["kind"]) if isinstance(body.get("kind"), str) else None
    subject = body.get("subject")
    of_press = kind is not None and kind.of == "press" and isinstance(subject, str)
    return code_of(subject.strip()) if of_press and isinstance(subject, str) else None


def _item(one: Report) -> dict[str, Any]:
    spans = KINDS[one.kind].spans
    return {
        "number": one.report_no,
        "kind": one.kind,
        "subject": one.subject,
        "of": one.number or None,
        "from": clock.as_text(one.from_ms) if spans else None,
        "to": clock.as_text(one.to_ms) if spans else None,
        "digest": one.digest,
        "software": one.software,
        "made_at": clock.as_text(one.made_ms),
        "made_by": one.made_by,
        "note": one.note,
        "href": f"/reports/{one.report_no}",
    }


def _asked(given: Given, kind: str, subject: str, plant: Plant) -> Asked:
    of = KINDS[kind].of
    if of != "plant" and not subject:
        raise InvalidError(N_("subject is missing; name the {of}", of=of), field="subject")
    if of == "press":
        given.need("number")
        return Asked(kind, subject, given.whole("number", least=0, most=(1 << 31) - 1) or 0)
    from_ms, to_ms = _stretch(given, plant)
    return Asked(kind, subject, 0, from_ms, to_ms)


def _stretch(given: Given, plant: Plant) -> tuple[int, int]:
    """By its ends, or by its name; it ends now at the latest, so that it can be computed again."""
    if given.has("span"):
        from_ms, to_ms = span_of(given.choice("span", tuple(SPANS)), plant)
    else:
        given.need("from", "to")
        start, end = given.at("from", now_ms=plant.now_ms), given.at("to", now_ms=plant.now_ms)
        from_ms, to_ms = start or 0, end or 0
    to_ms = min(to_ms, plant.now_ms)
    if from_ms >= to_ms:
        raise InvalidError(N_("to={get} is not later than from", get=shown(given.body.get("to"))), field="to")
    return from_ms, to_ms


def span_of(name: str, plant: Plant) -> tuple[int, int]:
    """A stretch by its name, whole days and months in the plant's time."""
    if name == "last_30_days":
        return plant.now_ms - 30 * DAY, plant.now_ms
    if name in ("this_shift", "last_shift"):
        begin = plant.shift().from_ms
        if name == "this_shift":
            return begin, plant.now_ms
        return shift_at(begin - 1, starts=plant.settings["shifts"], zone=plant.zone).from_ms, begin
    first = plant.zone.local(plant.now_ms).replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    if name == "this_month":
        return clock.from_datetime(first), plant.now_ms
    before = (first - dt.timedelta(days=1)).replace(day=1)
    return clock.from_datetime(before), clock.from_datetime(first)
