"""The page of one startup record: its phase-one report, with what was left out and the values drawn."""

import json
from collections.abc import Sequence

import sqlalchemy as sa

from server.derived.baseline_report import BaselineReport, LeftOut, SignalReport, baseline_report
from server.derived.baseline_shots import record_shots
from server.derived.qualification import QUALIFIED
from server.derived.set_points import value_text
from server.language import _
from server.show.baseline_pages import LeftOutRow, ReportPage, ReportSignal
from server.show.baseline_words import (
    LEAVING_OUT,
    alike_text,
    false_alarm_text,
    left_out_text,
    qualification_href,
    qualification_text,
    shape_text,
)
from server.show.build_baselines import of_text, verdict_text, who_lines
from server.show.drawn import drawn_signals
from server.show.pages import Fact
from server.show.plant_words import Plant, press_api, press_href
from server.store.plant import press_by_code
from server.store.records import baseline_by_no
from server.words.catalogue import signal_name, worded
from server.words.numbers import NOTHING, fixed, whole
from server.words.units import Units, signal_places, signal_quantity, signal_text

#: Rows of what was left out; the API lists every shot.
_LISTED = 200


def build_baseline_report(
    connection: sa.Connection, plant: Plant, *, press: str, number: int
) -> ReportPage | None:
    """None: the plant has no such press, or the press no such record."""
    found = press_by_code(connection, press)
    baseline = None if found is None else baseline_by_no(connection, found.press_id, number)
    if found is None or baseline is None:
        return None
    report = baseline_report(connection, found, baseline)
    shots = record_shots(connection, found, baseline)
    runs = _runs(report.left_out)
    units, at = plant.units, f"{press_href(press)}/baselines"
    return ReportPage(
        frame=plant.frame(_("{press} record {number}", press=press, number=number), active="/"),
        press=press,
        answer=_(
            "Startup record {number} of {press}. {verdict_text}",
            number=number,
            press=press,
            verdict_text=verdict_text(report.signals),
        ),
        under=_(
            "{of_text} · {since} to {to}",
            of_text=of_text(baseline),
            since=plant.moment(baseline.from_ms),
            to=plant.moment(baseline.to_ms),
        ),
        back_href=at,
        now_href=f"{at}/compare?first={number}&second=now",
        api_href=f"{press_api(press)}/baselines/{number}",
        facts=_facts(report, plant),
        qualification=qualification_text(report.qualification, plant),
        qualification_href=qualification_href(press, report.qualification),
        qualified=report.qualification.status == QUALIFIED,
        signals=tuple(_signal(one, units) for one in report.signals),
        missing=tuple(Fact(signal_name(name), why) for name, why in report.missing.items()),
        left_out=tuple(_left_out(run, plant, len(report.signals)) for run in runs[:_LISTED]),
        left_out_note=_left_out_note(report, len(runs)),
        drawn=drawn_signals(
            shots.signals,
            None,
            kept=baseline.signals.get("signals", {}),
            names=(_("Record {number}", number=number), ""),
            units=units,
        ),
    )


def _facts(report: BaselineReport, plant: Plant) -> tuple[Fact, ...]:
    baseline = report.baseline
    lag = {0: _("belongs to the same shot"), 1: _("belongs to the next shot")}
    facts = [Fact(_("Shots"), whole(baseline.shots))]
    facts += [Fact(_("Who"), line) for line in who_lines(baseline, plant)]
    if "dose_lag" in baseline.signals:
        facts.append(Fact(_("Dose"), lag.get(int(baseline.signals["dose_lag"] or 0), NOTHING)))
    points = json.loads(report.made_with[-1].setpoints) if report.made_with else {}
    facts += [Fact(_("Set to: {name}", name=name), value_text(value)) for name, value in points.items()]
    names = [one.setup or _("without a name") for one in report.made_with]
    if names:
        facts.append(Fact(_("Set-ups of its shots"), ", ".join(dict.fromkeys(names))))
    return tuple(facts)


def _runs(rows: Sequence[LeftOut]) -> list[list[LeftOut]]:
    """Shots one after the other that were left out for the same reason and of the same signals."""
    runs: list[list[LeftOut]] = []
    # By reason first, so that two reasons in turn make two runs and not many.
    for one in sorted(rows, key=lambda row: (row.reason, row.signals, row.index)):
        last = runs[-1][-1] if runs else None
        same = last is not None and (last.reason, last.signals) == (one.reason, one.signals)
        if last is not None and same and one.index == last.index + 1:
            runs[-1].append(one)
        else:
            runs.append([one])
    return sorted(runs, key=lambda run: run[0].index)


def _left_out(run: Sequence[LeftOut], plant: Plant, every: int) -> LeftOutRow:
    first, last = run[0], run[-1]
    one = len(run) == 1
    span = (
        f"{first.index + 1}"
        if one
        else _(
            "{index} to {index_2}, {run} shots", index=first.index + 1, index_2=last.index + 1, run=len(run)
        )
    )
    counters = (
        f"{first.counter}"
        if one
        else _("{counter} to {counter_2}", counter=first.counter, counter_2=last.counter)
    )
    return LeftOutRow(
        at_text=NOTHING if first.at_ms is None else plant.moment(first.at_ms),
        shot=span
        if first.counter is None
        else _("{span} (counter {counters})", span=span, counters=counters),
        reason=worded(LEAVING_OUT, first.reason),
        signals=_("every signal")
        if len(first.signals) == every
        else ", ".join(signal_name(signal) for signal in first.signals),
    )


def _left_out_note(report: BaselineReport, rows: int) -> str:
    parts = []
    if rows > _LISTED:
        parts.append(
            _(
                "The first {listed} of {rows} rows; the API lists every shot.",
                listed=_LISTED,
                rows=whole(rows),
            )
        )
    if report.shots_changed:
        parts.append(
            _(
                "Shots of this stretch arrived or went after it was captured, so their times cannot"
                " be told. The record itself stays as it was judged."
            )
        )
    return " ".join(parts)


def _signal(one: SignalReport, units: Units) -> ReportSignal:
    places, quantity = signal_places(one.signal, units), signal_quantity(one.signal)

    def spread(value: float | None) -> str:
        return NOTHING if value is None else fixed(units.shown_difference(quantity, value), places + 1)

    ends = (
        _("{spread} to {spread_2}", spread=spread(one.sigma_lower), spread_2=spread(one.sigma_upper))
        if one.sigma_lower is not None
        else ""
    )
    worth = () if one.n_effective is None else (_("worth {n_effective}", n_effective=whole(one.n_effective)),)
    return ReportSignal(
        signal=signal_name(one.signal),
        verdict=_verdict(one),
        shots=(whole(one.n), *worth),
        middle=(
            signal_text(one.signal, one.center, units),
            ""
            if one.mean is None
            else _("mean {signal_text}", signal_text=signal_text(one.signal, one.mean, units)),
        ),
        within=spread(one.sigma_within),
        total=(spread(one.sigma_total if one.sigma_total is not None else one.sigma), ends),
        limits=(signal_text(one.signal, one.lower, units), signal_text(one.signal, one.upper, units)),
        false_alarm=false_alarm_text(one),
        alike=alike_text(one),
        shape=shape_text(one),
        step=spread(one.step) if one.step else _("none seen"),
        left_out=left_out_text(one),
        help=one.signal,
    )


def _verdict(one: SignalReport) -> str:
    """As short as a table wants it."""
    level = {True: _("stable"), False: _("not stable: its level moved"), None: _("stability not kept")}[
        one.stable
    ]
    return (
        _("{level}, sufficient", level=level) if one.sufficient else _("{level}, too few values", level=level)
    )
