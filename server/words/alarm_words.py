"""What the charts, the log and the mold's demand have to say, in sentences."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from server.language import N_, _
from server.words.catalogue import signal_name
from server.words.numbers import fixed, number

DOUBT_WORDS: Final[Mapping[str, str]] = {
    "wrapped": N_("small negative values arrive as large ones near 655"),
    "impossible": N_("values contradict one another"),
    "lost": N_("records are missing"),
    "other_press": N_("counters jump back and forth, as if two presses sent under one name"),
    "stuck": N_("a reading does not move any more"),
}


def listed(words: Sequence[str]) -> str:
    """
    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    if len(words) < 2:
        return "".join(words)
    return _("{join} and {words}", join=", ".join(words[:-1]), words=words[-1])


def shift_words(signals: Mapping[str, float]) -> str:
    """
    >>> shift_words({"swept_mm": 0.62})
    'Swept stroke stands higher than before, by 0.6 σ.'
    """
    parts = [
        _(
            "{lead} {value} than before, by {moved} σ",
            lead=_lead(name, i),
            value=_("higher") if moved > 0 else _("lower"),
            moved=number(abs(moved), 1),
        )
        for i, (name, moved) in enumerate(sorted(signals.items(), key=lambda one: -abs(one[1])))
    ]
    return f"{listed(parts)}."


def _lead(signal: str, place: int) -> str:
    name = signal_name(signal)
    return _("{name} stands", name=name) if place == 0 else name[0].lower() + name[1:]


def scatter_words(signals: Mapping[str, float]) -> str:
    """
    >>> scatter_words({"shot_size_mm": 0.7})
    'Shots differ more from one another than before: shot size.'
    """
    names = [signal_name(name) for name in signals]
    return _(
        "Shots differ more from one another than before: {listed}.",
        listed=listed([n[0].lower() + n[1:] for n in names]),
    )


def doubt_sentence(doubts: Sequence[str]) -> str:
    """
    >>> doubt_sentence(["lost"])
    'The data cannot be right: records are missing.'
    """
    return _(
        "The data cannot be right: {listed}.", listed=listed([DOUBT_WORDS.get(one, one) for one in doubts])
    )


def capability_words(short: Mapping[str, Mapping[str, float]]) -> str:
    """
    >>> capability_words({"part_weight_g": {"ppk": 0.91, "upper": 1.1, "demand": 1.33}})
    'Part weight falls short of what the mold demands: Ppk 0.91, 1.33 wanted.'
    """
    parts = [
        _(
            "{name} falls short of what the mold demands: Ppk {ppk}, {demand} wanted",
            name=signal_name(name),
            ppk=fixed(one["ppk"], 2),
            demand=fixed(one["demand"], 2),
        )
        for name, one in short.items()
    ]
    return f"{'; '.join(parts)}."


def chart_alarm_text(kind: str, facts: Mapping[str, Any]) -> str:
    """The text of an alarm of one of these kinds; '' for other kinds, or where nothing more is known.

    >>> chart_alarm_text("leak", {})
    ''
    """
    if kind == "shift" and facts.get("signals"):
        return shift_words(facts["signals"])
    if kind == "scatter" and facts.get("signals"):
        return scatter_words(facts["signals"])
    if kind == "data_quality":
        return doubt_sentence(list(facts.get("doubts", {})))
    if kind == "capability" and facts.get("short"):
        return capability_words(facts["short"])
    return ""
