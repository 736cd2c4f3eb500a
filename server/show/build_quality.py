"""The data-quality page of a press: what its record lacks and what to do about each."""

import dataclasses
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from server.derived.record_quality import RecordQuality, record_quality
from server.language import _, plural
from server.maths.results import Undetermined
from server.show.frame import Frame
from server.show.pages import Choice
from server.show.plant_words import Plant, press_api, press_href
from server.store.plant import press_by_code
from server.words.importing import lag_text
from server.words.numbers import count_word, whole
from server.words.quality import Concern, all_concerns

DAYS = 14


@dataclasses.dataclass(frozen=True)
class DayRow:
    """A day's shots: `share` 0 to 1, for the bar."""

    day: str
    stored: str
    expected: str
    share: float
    note: str


@dataclasses.dataclass(frozen=True)
class GapRow:
    span: str
    counters: str
    missing: str


@dataclasses.dataclass(frozen=True)
class QualityPage:
    frame: Frame
    press: str
    page_href: str
    api_href: str
    answer: str
    under: str
    concerns: tuple[Concern, ...]
    days: tuple[DayRow, ...]
    gaps: tuple[GapRow, ...]
    clock: str
    lag: str
    lags: tuple[Choice, ...]
    looked_at: str


def build_quality(connection: sa.Connection, plant: Plant, *, press: str) -> QualityPage | None:
    """None: the plant has no such press."""
    known = press_by_code(connection, press)
    if known is None:
        return None
    zone = ZoneInfo(str(plant.settings["time_zone"]))
    found = record_quality(connection, known, days=DAYS, zone=zone, now_ms=plant.now_ms)
    concerns = tuple(all_concerns(found))
    return QualityPage(
        frame=plant.frame(_("{press} data quality", press=press), active="/"),
        press=press,
        page_href=press_href(press),
        api_href=press_api(press),
        answer=_answer(press, found, concerns),
        under=_(
            "By the shots of the last {days} days and the newest {shots}", days=DAYS, shots=whole(found.shots)
        ),
        concerns=concerns,
        days=tuple(_days(found)),
        gaps=tuple(
            GapRow(
                _("{since} to {to}", since=plant.moment(gap.from_ms), to=plant.moment(gap.to_ms)),
                _("{from_counter} to {to_counter}", from_counter=gap.from_counter, to_counter=gap.to_counter),
                whole(gap.missing),
            )
            for gap in found.completeness.gaps[:10]
        ),
        clock=_clock(found),
        lag=lag_text(found.dose_lag, set_to=found.dose_lag_set),
        lags=tuple(
            Choice(value, word, value == ("" if found.dose_lag_set is None else str(found.dose_lag_set)))
            for value, word in (
                ("", _("found from the shots")),
                ("0", _("the dose reported with the shot")),
                ("1", _("the dose reported with the shot before")),
            )
        ),
        looked_at=whole(found.shots),
    )


def _answer(press: str, found: RecordQuality, concerns: tuple[Concern, ...]) -> str:
    if not found.shots:
        return _("{press} has no record yet.", press=press)
    if not concerns:
        return _("The record of {press} can be trusted.", press=press)
    number = count_word(len(concerns))
    verb = plural(len(concerns), "thing stands", "things stand")
    return _(
        "{number}{number_2} {verb} against the record of {press}.",
        number=number[0].upper(),
        number_2=number[1:],
        verb=verb,
        press=press,
    )


def _days(found: RecordQuality) -> list[DayRow]:
    rows = []
    for date, day in reversed(list(zip(found.dates, found.completeness.days, strict=True))):
        notes = [
            f"{count} {plural(count, word, word + 's')}"
            for count, word in ((day.resets, "reset"), (day.leaps, "leap"))
            if count
        ]
        rows.append(DayRow(date, whole(day.stored), whole(day.expected), day.share, ", ".join(notes)))
    return rows


def _clock(found: RecordQuality) -> str:
    clock = found.clock
    if isinstance(clock, Undetermined):
        return _("The press's clock cannot be compared: {reason}.", reason=clock.reason)
    return _(
        "The quickest shot of the last day arrived {offset:.1f} s after its time; that moves by"
        " {per_day:+.2f} s a day ({days} {day}).",
        offset=clock.offset_ms / 1000.0,
        per_day=clock.per_day_ms / 1000.0,
        days=clock.days,
        day=plural(clock.days, "day", "days"),
    )
