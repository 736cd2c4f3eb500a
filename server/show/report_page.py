"""The pages of reports: what was made, and one report with what became of its inputs."""

import dataclasses

import sqlalchemy as sa

from server import __version__
from server.language import N_, _
from server.show.build_work import mold_choices
from server.show.frame import Frame
from server.show.pages import Choice
from server.show.paper import Paper, differences, digest_of
from server.show.papers import KINDS, Asked, build_paper
from server.show.plant_words import Plant, case_href, mold_href, press_href, trial_href
from server.store.page_queries import accepted_presses
from server.store.reports import Report, list_reports

#: Stretches that can be asked for by name, and what they are called.
SPANS = {
    "this_shift": N_("This shift"),
    "last_shift": N_("The shift before"),
    "last_30_days": N_("The last 30 days"),
    "this_month": N_("This month so far"),
    "last_month": N_("Last month"),
}


@dataclasses.dataclass(frozen=True)
class ReportRow:
    number: str
    href: str
    of: str
    span: str
    made: str
    note: str


@dataclasses.dataclass(frozen=True)
class ReportsPage:
    frame: Frame
    answer: str
    under: str
    rows: tuple[ReportRow, ...]
    spans: tuple[Choice, ...]
    areas: tuple[Choice, ...]
    molds: tuple[Choice, ...]


@dataclasses.dataclass(frozen=True)
class ReportPage:
    """`changed`: what differs from the numbers it was made with; empty where nothing does."""

    frame: Frame
    answer: str
    under: str
    number: int
    title: str
    paper: Paper
    identity: tuple[tuple[str, str], ...]
    state_title: str
    same: tuple[str, ...]
    changed: tuple[str, ...]
    digest: str
    made_text: str
    made_by: str
    software: str
    note: str
    plant_name: str
    pdf_href: str
    api_href: str
    subject_href: str
    subject_text: str


def build_reports(connection: sa.Connection, plant: Plant) -> ReportsPage:
    rows = tuple(_row(one, plant) for one in list_reports(connection, limit=200))
    areas = sorted({row["area"] for row in accepted_presses(connection) if row["area"]})
    answer = _("{rows} reports are kept.", rows=len(rows)) if len(rows) != 1 else _("One report is kept.")
    return ReportsPage(
        frame=plant.frame(_("Reports"), active="/reports"),
        answer=answer if rows else _("No report has been made yet."),
        under=_("A report's link shows the numbers it was made with, or says what changed since."),
        rows=rows,
        spans=tuple(Choice(value, text, value == "last_30_days") for value, text in SPANS.items()),
        areas=tuple(Choice(area, area) for area in areas),
        molds=mold_choices(connection),
    )


def _row(one: Report, plant: Plant) -> ReportRow:
    kind = KINDS[one.kind]
    span = (
        _("{since} to {to}", since=plant.day(one.from_ms), to=plant.day(one.to_ms - 1)) if kind.spans else ""
    )
    return ReportRow(
        number=str(one.report_no),
        href=f"/reports/{one.report_no}",
        of=f"{kind.name}: {subject_words(one)}",
        span=span,
        made=f"{plant.moment(one.made_ms)}, {one.made_by}",
        note=one.note,
    )


def subject_words(one: Report) -> str:
    if KINDS[one.kind].of == "plant":
        return _("area {subject}", subject=one.subject) if one.subject else _("the plant")
    return f"{one.subject}, {one.number}" if one.number else one.subject


def build_report(connection: sa.Connection, plant: Plant, report: Report) -> ReportPage | None:
    """A kept report, computed again from the versions and the stretch it names, as of its own moment."""
    then = dataclasses.replace(plant, now_ms=report.made_ms)
    asked = Asked(report.kind, report.subject, report.number, report.from_ms, report.to_ms)
    paper = build_paper(connection, then, asked)
    if paper is None:
        return None
    digest = digest_of(paper.basis)
    same = digest == report.digest
    made = plant.zone.iso(report.made_ms)
    software = report.software
    if software != __version__:
        software += _("; computed again by {version}", version=__version__)
    return ReportPage(
        frame=plant.frame(_("Report {report_no}", report_no=report.report_no), active="/reports"),
        answer=_("Report {report_no}: {title}.", report_no=report.report_no, title=paper.title),
        under=_("Made {made} by {made_by}.", made=plant.moment(report.made_ms), made_by=report.made_by),
        number=report.report_no,
        title=paper.title,
        paper=paper,
        identity=(
            *paper.identity,
            (_("Made"), _("{made} by {made_by}", made=made, made_by=report.made_by)),
            (_("Software"), _("Ringtell {software}", software=software)),
            ("SHA-256", report.digest),
        ),
        state_title=_("The numbers are those it was made with")
        if same
        else _("Its inputs have changed since"),
        same=(_("Computed again just now from the inputs it names: the same hash."),),
        changed=() if same else _changed(report, paper, digest),
        digest=report.digest,
        made_text=made,
        made_by=report.made_by,
        software=report.software,
        note=report.note,
        plant_name=plant.name,
        pdf_href=f"/api/v1/reports/{report.report_no}/pdf",
        api_href=f"/api/v1/reports/{report.report_no}",
        subject_href=_subject_href(report),
        subject_text=subject_words(report),
    )


def _changed(report: Report, paper: Paper, digest: str) -> tuple[str, ...]:
    return (
        _(
            "Shots came late, were thinned out, or a record it rests on went on. What is below is"
            " what its inputs give now; a signed paper with the hash of then stays what it was."
        ),
        *differences(report.basis, paper.basis),
        _("Hash now: {digest}", digest=digest),
    )


def _subject_href(report: Report) -> str:
    if report.kind == "capability":
        return mold_href(report.subject)
    if report.kind == "case":
        return case_href(report.subject, report.number)
    if report.kind == "trial":
        return trial_href(report.subject, report.number)
    if report.kind == "study":
        return f"{press_href(report.subject)}/studies/{report.number}"
    return f"{press_href(report.subject)}/baselines" if report.kind == "startup_record" else "/"
