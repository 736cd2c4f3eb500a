"""How the alarms themselves do: figures beside published benchmarks, and what is out of service."""

from typing import Final
from urllib.parse import quote

import sqlalchemy as sa
from markupsafe import Markup

from server.contract import ALARM_KINDS
from server.derived.alarm_performance import Measure, Performance, measure_alarms
from server.language import N_, _, plural
from server.maths.results import Undetermined
from server.show.alarm_pages import FrequentRow, MeasureRow, PerformancePage, StopRow
from server.show.build_work import press_choices
from server.show.pages import Choice
from server.show.plant_words import Plant, press_api, press_href
from server.show.svg import box, drawing, line
from server.store import alarm_service
from server.words.catalogue import ALARM_KIND, URGENCY, worded
from server.words.numbers import count_word
from server.words.times import span

#: What a figure is called, and how its benchmark reads.
_NAMES: Final = {
    "rate": (N_("Alarms in 10 minutes, on average"), N_("at most 1")),
    "busiest": (N_("Alarms in the busiest 10 minutes"), N_("at most 10")),
    "full_tens": (N_("10-minute stretches with more than 10"), N_("below 1 %")),
    "full_hours": (N_("Hours with more than 30"), N_("below 1 %")),
    "flooded": (N_("Time in a flood"), N_("below 1 %")),
    "top_ten": (N_("Share of the ten that come most"), N_("about 1 to 5 %")),
    "chattering": (N_("Alarms that come and go"), N_("none")),
    "stale": (N_("Alarms that stand longer than a day"), N_("fewer than 5")),
}
_HEIGHT, _STEP = 60, 14


def build_performance(connection: sa.Connection, plant: Plant) -> PerformancePage:
    found = measure_alarms(connection, now_ms=plant.now_ms)
    return PerformancePage(
        frame=plant.frame(_("How the alarms do"), active="/alarms"),
        answer=_answer(found),
        under=_(
            "{alarms} {alarm} since {since}. Benchmarks are for all that one person answers",
            alarms=found.alarms,
            alarm=plural(found.alarms, "alarm", "alarms"),
            since=plant.moment(found.from_ms),
        ),
        measures=tuple(_measure(one) for one in found.measures),
        frequent=tuple(
            FrequentRow(
                press=f"{one.press} {one.name}".strip(),
                href=press_href(one.press),
                what=worded(ALARM_KIND, one.kind),
                count=str(one.count),
                share=f"{100 * one.share:.0f} %",
                note=_("comes and goes") if one.chattering else "",
                help=f"alarm-{one.kind}",
            )
            for one in found.frequent
        ),
        hours=hours_drawing(found.hours),
        hours_text=_hours_text(found.hours),
        urgencies=_urgencies(found),
        floods=tuple(
            _(
                "{since} to {to}: {count} alarms",
                since=plant.moment(one.from_ms),
                to=plant.moment(one.to_ms),
                count=one.count,
            )
            for one in found.floods
        ),
        stale=tuple(
            _(
                "{press}, {alarm_kind}: for {now}",
                press=one.press,
                alarm_kind=worded(ALARM_KIND, one.kind),
                now=span(plant.now_ms - one.opened_ms),
            )
            for one in found.stale
        ),
        stops=_stops(connection, plant),
        presses=press_choices(connection, actor=plant.actor),
        kinds=tuple(Choice(kind, worded(ALARM_KIND, kind)) for kind in ALARM_KINDS),
        longest_days=f"{float(plant.settings['out_of_service_max_days']):g}",
    )


def _answer(found: Performance) -> str:
    missed = [one for one in found.measures if one.met is False]
    if not found.alarms:
        return _("There was no alarm.")
    if not missed:
        unsaid = sum(isinstance(one.value, Undetermined) for one in found.measures)
        if not unsaid:
            return _("The alarms are few enough to be trusted.")
        kept = len(found.measures) - unsaid
        return _(
            "No benchmark is missed; {kept} of {measures} can be judged so far.",
            kept=count_word(kept),
            measures=len(found.measures),
        )
    many = count_word(len(missed), capital=True)
    return _(
        "{many} of {measures} benchmarks {value} not met.",
        many=many,
        measures=len(found.measures),
        value=plural(len(missed), "is", "are"),
    )


def _measure(one: Measure) -> MeasureRow:
    name, benchmark = _NAMES[one.id]
    if isinstance(one.value, Undetermined):
        return MeasureRow(
            name, "–", benchmark, _("cannot say: {reason}", reason=one.value.reason), False, one.source
        )
    if one.unit == "share":
        value = f"{100 * one.value:.1f} %"
    else:
        value = f"{one.value:.0f}" if one.unit == "alarms" else f"{one.value:.2f}"
    return MeasureRow(name, value, benchmark, _("met") if one.met else _("not met"), not one.met, one.source)


def _urgencies(found: Performance) -> tuple[MeasureRow, ...]:
    return tuple(
        MeasureRow(
            name=worded(URGENCY, one.urgency).capitalize(),
            value=f"{one.count} ({100 * one.share:.0f} %)",
            benchmark=_("about {recommended:.0f} %", recommended=100 * one.recommended),
            verdict="",
            falls_short=False,
            source=_("EEMUA 191 / ISA-18.2 (memory)"),
        )
        for one in found.urgencies
    )


def _stops(connection: sa.Connection, plant: Plant) -> tuple[StopRow, ...]:
    return tuple(
        StopRow(
            press=stop.press,
            what=worded(ALARM_KIND, stop.kind),
            until_text=plant.moment(stop.until_ms),
            who=stop.who,
            why=stop.why,
            api_href=f"{press_api(stop.press)}/out-of-service/{quote(stop.kind, safe='')}",
        )
        for stop in alarm_service.stops_now(connection)
    )


def _hours_text(hours: tuple[int, ...]) -> str:
    return _(
        "Alarms in each of the last 24 hours, {sum} in all, at most {max} in one.",
        sum=sum(hours),
        max=max(hours),
    )


def hours_drawing(hours: tuple[int, ...]) -> Markup:
    """A bar an hour, oldest at the left; 12 an hour (the most one can manage) as a hairline."""
    top, wide = max(12, *hours), _STEP * len(hours)
    parts = [
        box(2 + _STEP * i, 2 + _HEIGHT * (1 - count / top), _STEP - 4, _HEIGHT * count / top, "hour-bar")
        for i, count in enumerate(hours)
        if count
    ]
    most = 2 + _HEIGHT * (1 - 12 / top)
    parts += [line(0, _HEIGHT + 2, wide, _HEIGHT + 2, "hour-base"), line(0, most, wide, most, "hour-most")]
    return drawing(parts, width=wide, height=_HEIGHT + 4, alt=_hours_text(hours), class_="hours")
