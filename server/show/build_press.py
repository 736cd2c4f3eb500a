"""The press page: the answer, what it rests on, what moved, and what to do next."""

from collections.abc import Mapping, Sequence

import numpy as np
import sqlalchemy as sa

from server.derived.estimates import estimates_of
from server.language import _
from server.show.build_alarms import alarm_card
from server.show.case_lines import case_lines
from server.show.chart_first import chart_empty, chart_span
from server.show.estimate_lines import estimate_lines
from server.show.evidence_rows import evidence_rows
from server.show.first_steps import first_steps
from server.show.judged import Judgement, read_judgement
from server.show.kept_words import kept_words
from server.show.newest_shot import newest_shot
from server.show.pages import (
    CauseRow,
    CompareRow,
    EstimateLines,
    Fact,
    PressPage,
    StepRow,
    TimelineRow,
)
from server.show.plant_words import Plant, Since, SinceOf, press_api, press_href, unknown_since
from server.show.press_words import CLAIM, WATCH, event_words, is_silent, last_shot_words, press_answer
from server.show.record_line import record_line
from server.show.ruled_out import with_data
from server.show.startup_record import RecordedSignal, recorded_signals, startup_stroke
from server.show.stroke_strip import PAGE, stroke_strip
from server.show.strokes import PAGE_SHOTS, newest_stroke
from server.show.ticked import with_ticks
from server.show.unjudged import unjudged
from server.store.page_queries import (
    Row,
    baselines_in_force,
    events_between,
    findings_between,
    mold_parts,
    open_alarms,
    press_with_state,
    shots_between,
    valve_ledger,
)
from server.store.plant import press_by_id
from server.store.records import baseline_by_no
from server.store.shots import read_columns
from server.valve.signals import derive
from server.words.catalogue import (
    HELD_BACK,
    LEAK_STATUS,
    VALVE_STYLE,
    cause_name,
    rule_name,
    signal_name,
    worded,
)
from server.words.guidance import STEP_ACTIONS, STUDY_ACTIONS, Advice, caution_names, caution_text, steps_for
from server.words.numbers import percent, signed, whole
from server.words.times import DAY
from server.words.units import Units, signal_places, signal_quantity, signal_text

#: Signals compared and charted, in order.
SHOWN = (
    "swept_mm",
    "cushion_mm",
    "shot_size_mm",
    "peak_pressure_bar",
    "fill_time_s",
    "recovery_s_per_mm",
)


def build_press(
    connection: sa.Connection, plant: Plant, *, press: str, since_of: SinceOf = unknown_since
) -> PressPage | None:
    """None: the plant has no such press."""
    row = press_with_state(connection, press)
    if row is None:
        return None
    judgement = read_judgement(row)
    record = baselines_in_force(connection, row["press_id"]).get(row["press_id"])
    signals = recorded_signals(record)
    alarms = [alarm for alarm in open_alarms(connection) if alarm["press_id"] == row["press_id"]]
    silent = is_silent(row, silent_after_s=float(plant.settings["silent_after_s"]), now_ms=plant.now_ms)
    unusual = judgement.likelihood is not None and judgement.likelihood >= CLAIM
    valves = valve_ledger(connection, row["press_id"])
    since = since_of(press)
    said = record_line(connection, plant, row)
    waiting = unjudged(row, judgement, said) if judgement.likelihood is None else None
    steps = with_data(
        connection, row, waiting.steps if waiting else step_rows(judgement, press), judgement, since, plant
    )
    return PressPage(
        frame=plant.frame(press, active="/", note=last_shot_words(row, plant.now_ms)),
        press=press,
        answer=press_answer(row, judgement, silent=silent, now_ms=plant.now_ms),
        under=_under(connection, row, since, record, valves, plant, said.word),
        mood="unusual" if unusual else "quiet",
        strip=stroke_strip(
            newest_stroke(connection, row, shots=PAGE_SHOTS),
            startup=startup_stroke(signals),
            units=plant.units,
            unusual=unusual,
            size=PAGE,
        ),
        strip_note=_strip_note(plant),
        evidence_title=_evidence_title(judgement),
        evidence=evidence_rows(judgement),
        evidence_note=waiting.why if waiting else _evidence_note(judgement, plant),
        causes=cause_rows(judgement),
        steps=with_ticks(connection, row["press_id"], steps, plant),
        compare=_compare(connection, row, signals, plant.units),
        findings=_finding_rows(connection, row, plant),
        events=_event_rows(connection, row, plant),
        configuration=_configuration(row, plant.units),
        figure_href=f"{press_api(press)}/figure",
        api_href=press_api(press),
        page_href=press_href(press),
        mold=row["mold"] or "",
        trouble=kept_words(connection, plant, row),
        edit=_edit(row),
        alarms=tuple(alarm_card(alarm, row, plant) for alarm in alarms),
        estimates=_estimates(connection, row, since, plant),
        case=case_lines(connection).get(row["press_id"]),
        record=said,
        first=first_steps(connection, plant, place="press", press=press),
        chart_empty=chart_empty(row),
        chart_span=chart_span(connection, row),
        nothing_text=waiting.nothing_text if waiting else "",
        newest=newest_shot(connection, row, plant),
    )


def _strip_note(plant: Plant) -> str:
    return _(
        "one shot, to scale, in {written} · dashed: startup record · solid: last {page_shots} shots",
        written=plant.units.written("length"),
        page_shots=PAGE_SHOTS,
    )


def _estimates(
    connection: sa.Connection, row: Row, since: Since | None, plant: Plant
) -> EstimateLines | None:
    """How much leaks and until when; None where nothing of it can be said."""
    number = row["baseline_no"]
    if number is None:
        return None
    found = estimates_of(
        connection,
        press_by_id(connection, row["press_id"]),
        row,
        baseline_by_no(connection, row["press_id"], number),
        onset_from_ms=since.from_ms if since else None,
    )
    lines = estimate_lines(found, plant)
    return lines if lines.lines else None


def _under(
    connection: sa.Connection,
    row: Row,
    since: Since | None,
    record: Row | None,
    valves: Sequence[Row],
    plant: Plant,
    qualified: str,
) -> str:
    parts = []
    if row["mold"]:
        parts.append(f"{row['mold']} {mold_parts(connection).get(row['mold'], '')}".strip())
    if row["material"]:
        parts.append(
            _("{material} lot {lot}", material=row["material"], lot=row["lot"])
            if row["lot"]
            else row["material"]
        )
    parts.append(_valve_words(connection, row, valves))
    if record is not None:
        parts.append(
            _(
                "against the startup record of {to}, {qualified}",
                to=plant.day(record["to_ms"]),
                qualified=qualified,
            )
        )
    if since is not None:
        between = _("{since} to {to}", since=plant.day(since.from_ms), to=plant.day(since.to_ms))
        parts.append(_("since {at} ({between})", at=plant.day(since.at_ms), between=between))
    if row["held_back"]:
        parts.append(_("alarms held back: {held_back}", held_back=worded(HELD_BACK, row["held_back"])))
    return " · ".join(part for part in parts if part)


def _valve_words(connection: sa.Connection, row: Row, valves: Sequence[Row]) -> str:
    style = worded(VALVE_STYLE, row["valve_style"])
    current = next((valve for valve in valves if valve["removed_ms"] is None), None)
    if current is None:
        return style
    made = (current["shots_before"] or 0) + shots_between(
        connection, row["press_id"], from_ms=current["fitted_ms"]
    )
    return _("{style}, {made} shots", style=style, made=whole(made))


def _evidence_title(judgement: Judgement) -> str:
    return (
        _("Why not yet")
        if judgement.likelihood is None
        else _("Why {likelihood}", likelihood=percent(judgement.likelihood))
    )


def _evidence_note(judgement: Judgement, plant: Plant) -> str:
    judged = plant.moment(judgement.at_ms)
    said = _(
        "Each line multiplies the odds. Calibrated on simulated presses. Judged {judged}.", judged=judged
    )
    return f"{said} {worded(LEAK_STATUS, 'stale')}." if judgement.status == "stale" else said


def cause_rows(judgement: Judgement) -> tuple[CauseRow, ...]:
    """The causes worth naming, likeliest first."""
    if judgement.likelihood is None:
        return ()
    ranked = sorted(judgement.causes.items(), key=lambda item: -item[1])
    return tuple(
        CauseRow(id=cause, text=cause_name(cause), share_text=percent(share))
        for cause, share in ranked[:5]
        if share >= 0.01
    )


def step_rows(judgement: Judgement, press: str) -> tuple[StepRow, ...]:
    """What to do next for the leading cause, each hands-on step with its cautions before it."""
    if judgement.likelihood is None:
        return ()
    cause = judgement.leading_cause or "unexplained"
    if judgement.likelihood < WATCH and cause in ("sealing", "unexplained"):
        return ()
    rows: list[StepRow] = []
    warned: set[str] = set()
    for advice in steps_for(cause):
        rows.append(_step(advice, press, warned))
        warned.update(advice.cautions)
    return tuple(rows)


def _step(advice: Advice, press: str, warned: set[str]) -> StepRow:
    href = ""
    if advice.action in STUDY_ACTIONS:
        code = press_href(press).removeprefix("/presses/")
        href = f"/studies?kind={advice.action}&press={code}#{advice.action}"
    elif advice.action == "setting-trial":
        href = f"/trials?press={press_href(press).removeprefix('/presses/')}#plan"
    elif advice.action == "comparison":
        href = "/cases"
    elif advice.action == "containment":
        href = "/containment"
    elif advice.action == "events":
        href = "#record-event"
    elif advice.action == "baselines":
        href = f"{press_href(press)}/baselines"
    return StepRow(
        id=advice.id,
        text=advice.text,
        href=href,
        action=STEP_ACTIONS.get(advice.action, "open"),
        caution=_caution(advice, warned),
    )


def _caution(advice: Advice, warned: set[str]) -> str:
    """Every hands-on step has its cautions before it; what has been said in full is named from then on."""
    new = [one for one in advice.cautions if one not in warned]
    again = [one for one in advice.cautions if one in warned]
    text = caution_text(*new)
    return (
        _("{value} As said above: {caution_names}.", value=text, caution_names=caution_names(*again)).strip()
        if again
        else text
    )


def _compare(
    connection: sa.Connection, row: Row, signals: Mapping[str, RecordedSignal], units: Units
) -> tuple[CompareRow, ...]:
    shown = [signal for signal in (*SHOWN, "part_weight_g") if signal in signals]
    if not shown or row["last_shot_ms"] is None:
        return ()
    columns = read_columns(connection, row["press_id"], limit=PAGE_SHOTS, newest=True)
    lag = row["dose_lag"] if row["dose_lag"] is not None else row["dose_lag_found"] or 0
    now = derive(columns, dose_lag=int(lag), screw_diameter_mm=row["screw_diameter_mm"]).signals
    rows = []
    for signal in shown:
        values = now[signal][np.isfinite(now[signal])]
        if len(values) < 5:
            continue
        middle, spread = float(np.median(values)), float(np.std(values, ddof=1))
        rows.append(_compare_row(signal, signals[signal], middle, spread, units))
    return tuple(rows)


def _compare_row(
    signal: str, record: RecordedSignal, middle: float, spread: float, units: Units
) -> CompareRow:
    quantity = signal_quantity(signal)

    def with_spread(value: float, sd: float) -> str:
        shown = units.shown_difference(quantity, sd)
        places = signal_places(signal, units)
        return f"{signal_text(signal, value, units)} (s {shown:.{places}f})"

    change = units.shown_difference(quantity, middle) - units.shown_difference(quantity, record.center)
    relative = 100.0 * (middle / record.center - 1.0) if record.center else 0.0
    return CompareRow(
        signal=signal_name(signal),
        startup=with_spread(record.center, record.sigma),
        now=with_spread(middle, spread),
        change=f"{signed(change)} {units.written(quantity)} ({signed(relative)} %)",
        help=signal,
    )


def _finding_rows(connection: sa.Connection, row: Row, plant: Plant) -> tuple[TimelineRow, ...]:
    found = findings_between(
        connection, row["press_id"], from_ms=plant.now_ms - 30 * DAY, to_ms=plant.now_ms + DAY, limit=60
    )
    return tuple(
        TimelineRow(
            at_text=plant.moment(one["from_ms"]),
            at_iso=plant.zone.iso(one["from_ms"]),
            what=f"{signal_name(one['signal'])}: {rule_name(one['rule'])}{_marks(one['marks'])}",
            help=one["rule"],
        )
        for one in found
    )


def _marks(count: int) -> str:
    return _(", {count} shots", count=whole(count)) if count > 1 else ""


def _event_rows(connection: sa.Connection, row: Row, plant: Plant) -> tuple[TimelineRow, ...]:
    found = events_between(
        connection, row["press_id"], from_ms=plant.now_ms - 30 * DAY, to_ms=plant.now_ms + DAY, limit=60
    )
    return tuple(
        TimelineRow(
            at_text=plant.moment(one["at_ms"]),
            at_iso=plant.zone.iso(one["at_ms"]),
            what=event_words(one),
            who=one["author"],
        )
        for one in found
    )


def _configuration(row: Row, units: Units) -> tuple[Fact, ...]:
    lag = row["dose_lag"] if row["dose_lag"] is not None else row["dose_lag_found"]
    return (
        Fact(_("Screw"), units.text("length", row["screw_diameter_mm"], 1)),
        Fact(_("Valve"), worded(VALVE_STYLE, row["valve_style"])),
        Fact(_("Pressure"), _("in the plastic") if row["pressure_basis"] == "specific" else _("hydraulic")),
        Fact(_("Dose"), _("belongs to the next shot") if lag == 1 else _("belongs to the same shot")),
        Fact(_("Area"), row["area"] or "–"),
    )


def _edit(row: Row) -> tuple[tuple[str, str], ...]:
    names = (
        "name", "area", "screw_diameter_mm", "valve_style", "pressure_basis", "intensification",
        "cushion_definition", "dose_lag",
    )  # fmt: skip
    return tuple((name, "" if row[name] is None else f"{row[name]}") for name in names)
