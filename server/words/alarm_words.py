"""What the charts, the log and the mold's demand have to say, in sentences."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from server.words.catalogue import signal_name
from server.words.numbers import fixed, number

DOUBT_WORDS: Final[Mapping[str, str]] = {
    "wrapped": "small negative values arrive as large ones near 655",
    "impossible": "values contradict one another",
    "lost": "records are missing",
    "other_press": "counters jump back and forth, as if two presses sent under one name",
    "stuck": "a reading does not move any more",
}


def listed(words: Sequence[str]) -> str:
    """
    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def shift_words(signals: Mapping[str, float]) -> str:
    """
    >>> shift_words({"swept_mm": 0.62})
    'Swept stroke stands higher than before, by 0.6 σ.'
    """
    parts = [
        f"{_lead(name, i)} {'higher' if moved > 0 else 'lower'} than before, by {number(abs(moved), 1)} σ"
        for i, (name, moved) in enumerate(sorted(signals.items(), key=lambda one: -abs(one[1])))
    ]
    return f"{listed(parts)}."


def _lead(signal: str, place: int) -> str:
    name = signal_name(signal)
    return f"{name} stands" if place == 0 else name[0].lower() + name[1:]


def scatter_words(signals: Mapping[str, float]) -> str:
    """
    >>> scatter_words({"shot_size_mm": 0.7})
    'Shots differ more from one another than before: shot size.'
    """
    names = [signal_name(name) for name in signals]
    return f"Shots differ more from one another than before: {listed([n[0].lower() + n[1:] for n in names])}."


def doubt_sentence(doubts: Sequence[str]) -> str:
    """
    >>> doubt_sentence(["lost"])
    'The data cannot be right: records are missing.'
    """
    return f"The data cannot be right: {listed([DOUBT_WORDS.get(one, one) for one in doubts])}."


def capability_words(short: Mapping[str, Mapping[str, float]]) -> str:
    """
    >>> capability_words({"part_weight_g": {"ppk": 0.91, "upper": 1.1, "demand": 1.33}})
    'Part weight falls short of what the mold demands: Ppk 0.91, 1.33 wanted.'
    """
    parts = [
        f"{signal_name(name)} falls short of what the mold demands: Ppk {fixed(one['ppk'], 2)},"
        f" {fixed(one['demand'], 2)} wanted"
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
