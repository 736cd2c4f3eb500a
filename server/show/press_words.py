"""Sentences about one press, from its judgement and state."""

from server.language import _
from server.show.judged import Judgement
from server.show.pages import Urgency
from server.show.pellet import pellet
from server.store.page_queries import Row, document
from server.words.alarm_words import chart_alarm_text
from server.words.catalogue import EVENT_NAMES, LEAK_CLAIM, LEAK_STATUS, URGENCY, cause_name, worded
from server.words.numbers import number, percent
from server.words.times import MINUTE, age, span
from server.words.units import Units

#: Below this a press is quiet; a leak is claimed from CLAIM on (the plant's `open_at` opens alarms).
WATCH, CLAIM = 0.2, 0.5


def urgency_mark(urgency: str) -> Urgency:
    return Urgency(id=urgency, word=worded(URGENCY, urgency), pellet=pellet(urgency))


def full_name(row: Row) -> str:
    return f"{row['press']} {row['name']}".strip()


def is_silent(row: Row, *, silent_after_s: float, now_ms: int) -> bool:
    """No shot for longer than this press may pause; one that never sent is not silent but new."""
    last = row["last_shot_ms"]
    limit_s = row["silent_after_s"] or silent_after_s
    return last is not None and now_ms - last > limit_s * 1000


def last_shot_words(row: Row, now_ms: int) -> str:
    if row["last_shot_ms"] is None:
        return _("no shot yet")
    return _("last shot {last_shot}", last_shot=age(row["last_shot_ms"], now_ms))


def length_change(value: float, units: Units) -> str:
    """A difference of length, without its sign."""
    shown = abs(units.shown_difference("length", value))
    return f"{number(shown, 2)} {units.written('length')}"


def cause_line(judgement: Judgement, units: Units) -> str:
    """The leading cause in words, with the one number that shows it."""
    if judgement.likelihood is None:
        return worded(LEAK_STATUS, judgement.status)
    cause = judgement.leading_cause or "unexplained"
    text = cause_name(cause)
    detail = _detail(cause, judgement, units)
    return f"{text}{detail}"


def _detail(cause: str, judgement: Judgement, units: Units) -> str:
    rise = judgement.fact("swept_rise_mm")
    low = judgement.fact("low_per_100")
    if cause in ("steady_leak", "not_closing") and rise is not None and abs(rise) > 0.05:
        return _(
            ". Swept stroke {value}{length_change} since startup",
            value="+" if rise > 0 else "−",
            length_change=length_change(rise, units),
        )
    if cause == "erratic_closing" and low is not None and low >= 0.5:
        return _(": 1 in {max} falls out low", max=max(2, round(100 / low)))
    if cause == "setting_change":
        return _("; nothing points to the valve")
    return ""


def press_answer(row: Row, judgement: Judgement, *, silent: bool, now_ms: int) -> str:
    """The press page's first sentence."""
    name = full_name(row)
    if row["last_shot_ms"] is None:
        return _("{name} has not sent a shot yet.", name=name)
    if judgement.likelihood is None:
        return _("{name} cannot be judged yet.", name=name)
    share = percent(judgement.likelihood)
    if judgement.likelihood >= CLAIM:
        leaks = {cause: judgement.causes.get(cause, 0.0) for cause in LEAK_CLAIM}
        claim = LEAK_CLAIM[max(leaks, key=lambda cause: leaks[cause])]
        return f"{name} {claim}: {share}"
    if silent:
        return _("{name} has been silent for {now}.", name=name, now=span(now_ms - row["last_shot_ms"]))
    cause = judgement.leading_cause
    if cause in (None, "sealing", "unexplained") and judgement.likelihood < WATCH:
        return _("{name} seals as it did at startup. Likelihood of a leak: {share}", name=name, share=share)
    if cause in (None, "sealing"):
        return _("{name} may leak a little past its valve: {share}", name=name, share=share)
    return _(
        "{name}: {cause}. Likelihood of a leak: {share}",
        name=name,
        cause=cause_name(str(cause)).lower(),
        share=share,
    )


def alarm_text(alarm: Row, row: Row | None, judgement: Judgement | None, *, units: Units, now_ms: int) -> str:
    """An alarm in words a line lead can act on."""
    if alarm["kind"] == "silent":
        last = row["last_shot_ms"] if row else None
        return _("No shots for {now}.", now=span(now_ms - (last or alarm["since_ms"])))
    if alarm["kind"] == "bottoming":
        return _("Parts may be short. The screw goes to bottom: no cushion is left.")
    charted = chart_alarm_text(alarm["kind"], document(alarm["facts"]))
    if charted:
        cause = alarm["cause"]
        return (
            charted
            if cause in ("", "unexplained")
            else _("{charted} Likely: {cause}.", charted=charted, cause=cause_name(cause).lower())
        )
    parts = []
    if judgement is not None:
        parts = [_cushion(judgement, units), _low_shots(judgement)]
    told = " ".join(part for part in parts if part)
    return told or f"{cause_name(alarm['cause'] or 'steady_leak')}."


def _cushion(judgement: Judgement, units: Units) -> str:
    change, raised = judgement.fact("cushion_change_mm"), judgement.fact("shot_size_change_mm")
    if change is None or change > -0.1:
        rise = judgement.fact("swept_rise_mm")
        if rise is not None and rise > 0.1:
            return _(
                "Parts may be short. The screw travels {length_change} further than at startup.",
                length_change=length_change(rise, units),
            )
        return ""
    text = _(
        "Parts may be short. Cushion is {length_change} thinner than at startup",
        length_change=length_change(change, units),
    )
    if raised is not None and raised > 0.2:
        return _("{value}, though the shot size was raised.", value=text)
    return f"{text}."


def _low_shots(judgement: Judgement) -> str:
    low = judgement.fact("low_per_100")
    if low is None or low < 1.0:
        return ""
    return _("One shot in {max} is light.", max=max(2, round(100 / low)))


def is_fresh(at_ms: int | None, now_ms: int) -> bool:
    return at_ms is not None and now_ms - at_ms < 10 * MINUTE


def event_words(event: Row) -> str:
    """An event as a short line: kind, what, from and to."""
    what = worded(EVENT_NAMES, event["kind"])
    parts = [what, event["lot"], event["setting"]]
    if event["from_value"] or event["to_value"]:
        parts.append(f"{event['from_value'] or '?'} → {event['to_value'] or '?'}")
    text = " ".join(part for part in parts if part)
    return f"{text}: {event['note']}" if event["note"] else text
