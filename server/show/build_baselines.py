"""The page of startup records: what is advised, every version, and how to capture one."""

from collections import Counter
from collections.abc import Sequence
from urllib.parse import quote

import sqlalchemy as sa

from server.derived.baseline_advice import Advice, advice_for
from server.derived.baseline_report import SignalReport, signal_report
from server.derived.qualification import Qualification, qualifications_of
from server.language import N_, _, plural
from server.show.baseline_pages import BaselinesPage, RecordRow
from server.show.baseline_words import (
    LEAVING_OUT,
    STATE,
    advice_lines,
    qualification_href,
    qualification_text,
    qualification_word,
)
from server.show.chart_first import chart_empty, chart_span
from server.show.first_steps import first_steps
from server.show.pages import Choice
from server.show.plant_words import Plant, press_api, press_href
from server.show.press_words import full_name
from server.store.page_queries import Row, press_with_state
from server.store.plant import press_by_id
from server.store.records import Baseline, baselines_of
from server.words.catalogue import signal_name, worded
from server.words.numbers import count_word, whole

#: Records shown; older ones are in the API.
_MOST = 200
_ASK = N_(" Find out why before you approve it, or capture another stretch.")


def build_baselines(connection: sa.Connection, plant: Plant, *, press: str) -> BaselinesPage | None:
    """None: the plant has no such press."""
    row = press_with_state(connection, press)
    if row is None:
        return None
    found = press_by_id(connection, row["press_id"])
    records = list(reversed(baselines_of(connection, row["press_id"])))[:_MOST]
    beside = qualifications_of(connection, found, records)
    advice = advice_for(connection, found, row)
    running = advice.running
    return BaselinesPage(
        frame=plant.frame(_("{press} startup records", press=press), active="/"),
        press=press,
        page_href=press_href(press),
        api_href=press_api(press),
        setups_href=f"{press_href(press)}/setups",
        answer=_answer(row, records, beside, advice, plant),
        under=_("A record belongs to press, mold, material and set-up, and stays for ever"),
        advice=advice_lines(advice, plant),
        rows=tuple(
            _row(one, press, plant, beside[one.baseline_no], state=_state(one, records, row["baseline_no"]))
            for one in records
        ),
        choices=record_choices(records, plant),
        compare_href=f"{press_href(press)}/baselines/compare",
        figure_href=f"{press_api(press)}/figure",
        mold=running.mold if running else row["mold"] or "",
        material=running.material if running else row["material"] or "",
        first=first_steps(connection, plant, place="records", press=press),
        chart_span=chart_span(connection, row),
        chart_empty=chart_empty(row),
    )


def _answer(
    row: Row, records: Sequence[Baseline], beside: dict[int, Qualification], advice: Advice, plant: Plant
) -> str:
    name = full_name(row)
    current = next((one for one in records if one.baseline_no == row["baseline_no"]), None)
    if current is not None:
        word = qualification_word(beside[current.baseline_no])
        return _(
            "{name} is judged against record {baseline_no} of {to}, {word}.",
            name=name,
            baseline_no=current.baseline_no,
            to=plant.day(current.to_ms),
            word=word,
        )
    drafts = sum(one.state == "draft" for one in records)
    if drafts:
        verb = plural(drafts, "waits", "wait")
        return _(
            "{name} is not judged: {drafts} {record} {verb} for approval.",
            name=name,
            drafts=count_word(drafts),
            record=plural(drafts, "record", "records"),
            verb=verb,
        )
    if advice.in_use is not None:
        return _(
            "{name} is judged against record {baseline_no} from its next shot on.",
            name=name,
            baseline_no=advice.in_use.baseline_no,
        )
    if any(one.state == "approved" for one in records):
        return _("{name} is not judged: no record fits what it runs now.", name=name)
    return _("{name} is not judged: it has no startup record.", name=name)


def record_name(one: Baseline, plant: Plant) -> str:
    """A record in few words, as a choice or the head of a column."""
    of = " ".join(part for part in (one.mold, one.material, one.setup or "") if part)
    return _(
        "Record {baseline_no} of {to} · {of}", baseline_no=one.baseline_no, to=plant.day(one.to_ms), of=of
    )


def record_choices(records: Sequence[Baseline], plant: Plant, chosen: str = "") -> tuple[Choice, ...]:
    return tuple(
        Choice(str(one.baseline_no), record_name(one, plant), str(one.baseline_no) == chosen)
        for one in records
    )


def of_text(one: Baseline) -> str:
    return " · ".join(part for part in (one.mold, one.material, one.setup or _("every set-up")) if part)


def who_lines(one: Baseline, plant: Plant) -> tuple[str, ...]:
    """Who captured, approved and retired a record, when and why."""

    def line(did: str, who: str, at_ms: int | None, why: str) -> str:
        when = "" if at_ms is None else f", {plant.moment(at_ms)}"
        return _("{did} by {who}{when}", did=did, who=who, when=when) + (f": “{why}”" if why else "")

    lines = [line(_("captured"), one.captured_by, one.captured_ms, one.note)]
    if one.approved_by:
        why = "" if one.approved_note == one.note else one.approved_note
        lines.append(line(_("approved"), one.approved_by, one.approved_ms, why))
    if one.retired_by:
        lines.append(line(_("retired"), one.retired_by, one.retired_ms, one.retired_note))
    return tuple(lines)


def _state(one: Baseline, records: Sequence[Baseline], in_use: int | None) -> str:
    """In words; records: the newest stretch first."""
    if one.baseline_no == in_use:
        return _("in use now")
    of = (one.mold, one.material, one.setup)
    later = [
        other.baseline_no
        for other in records
        if other.state == "approved"
        and other.to_ms > one.to_ms
        and (other.mold, other.material, other.setup) == of
    ]
    if one.state == "approved" and later:
        return _("followed by record {later}", later=later[-1])
    return worded(STATE, one.state)


def _row(one: Baseline, press: str, plant: Plant, beside: Qualification, *, state: str) -> RecordRow:
    kept = one.signals.get("signals", {})
    reports = [signal_report(name, kept[name], shots=one.shots) for name in kept]
    at = f"{press_href(press)}/baselines"
    return RecordRow(
        no=one.baseline_no,
        state=one.state,
        state_text=state,
        of=of_text(one),
        span=_("{since} to {to}", since=plant.moment(one.from_ms), to=plant.moment(one.to_ms)),
        shots=_("{shots} shots", shots=whole(one.shots)),
        who=who_lines(one, plant),
        badge=qualification_word(beside),
        badge_text=qualification_text(beside, plant),
        verdict=verdict_text(reports) + (_ASK if one.state == "draft" and _moves(reports) else ""),
        left_out=_most_left_out(reports),
        href=f"{at}/{one.baseline_no}",
        now_href=f"{at}/compare?first={quote(str(one.baseline_no))}&second=now",
        api_href=f"{press_api(press)}/baselines/{one.baseline_no}",
        may_approve=one.state == "draft",
        may_retire=one.state == "approved",
        qualification_href=qualification_href(press, beside),
    )


def _moves(reports: Sequence[SignalReport]) -> bool:
    return any(one.stable is False for one in reports)


def verdict_text(reports: Sequence[SignalReport]) -> str:
    """What the signals came to, the trouble first."""
    if not reports:
        return _("No signal could be judged.")
    moving = [signal_name(one.signal).lower() for one in reports if one.stable is False]
    short = [signal_name(one.signal).lower() for one in reports if not one.sufficient]
    if moving:
        return _("Not stable: {join} moved during this stretch.", join=", ".join(moving))
    if short:
        return _("Stable, but short of values: {join}.", join=", ".join(short))
    return _("Stable and sufficient: all {reports} signals.", reports=count_word(len(reports)))


def _most_left_out(reports: Sequence[SignalReport]) -> str:
    """Shots left out of the signal that lost most of them."""
    most: Counter[str] = Counter()
    for one in reports:
        most = max(most, Counter(one.left_out), key=lambda counts: sum(counts.values()))
    said = ", ".join(f"{whole(count)} {worded(LEAVING_OUT, reason)}" for reason, count in most.items())
    return _("Left out: {said}.", said=said) if said else _("Nothing left out.")
