"""What an evaluation of a press means for its alarms: its conditions, one for each cause.

A leak explains what its signals do, a moved level explains the scatter of the same signal: what is
explained raises no alarm of its own, so that one cause calls once.
"""

import dataclasses
import json
import math
import struct
from collections.abc import Mapping, Sequence
from typing import Any, Final

from server.contract import BUDGETED, CAUSES, LEVEL_MOVED, SCATTER_GROWN
from server.notify.chart_conditions import doubt_condition, scatter_condition, shift_condition
from server.notify.conditions import Condition, bottoming_condition, leak_condition
from server.store.evaluation import Evaluation

#: What a leak does to a press: its own alarm speaks for these.
LEAK_SIGNALS: Final = frozenset(
    {"swept_mm", "peak_pressure_bar", "transfer_pressure_bar", "recovery_s_per_mm"}
)


@dataclasses.dataclass(frozen=True)
class _Look:
    """An evaluation, and what was seen of the press before it (seen_ms None: nothing)."""

    evaluation: Evaluation
    seen_ms: int | None
    watching: Mapping[str, Any]
    causes: Mapping[str, float]

    @property
    def state(self) -> Mapping[str, Any]:
        return self.evaluation.state

    def lately(self, rules: Sequence[str]) -> list[dict[str, Any]]:
        """Findings of these rules that go beyond the last look: history evaluated again is no news."""
        if self.seen_ms is None:
            return []
        return [
            row for row in self.evaluation.findings if row["rule"] in rules and row["to_ms"] > self.seen_ms
        ]


def conditions_of(
    evaluation: Evaluation, *, settings: Mapping[str, Any], seen_ms: int | None, leaks: bool
) -> list[Condition]:
    """Every condition the evaluation says something about; the others stay as they are.

    leaks: whether the press has an open alarm of a leak that goes on.
    """
    state = evaluation.state
    look = _Look(evaluation, seen_ms, json.loads(state["watching"] or "{}"), causes_of(state["causes"]))
    leak = _leak(look, settings, leaks=leaks)
    explained = LEAK_SIGNALS if leak is not None and leak.active_now else frozenset()
    active = [one for one in look.watching.get("active", ()) if one["signal"] not in explained]
    # Of level and scatter of one signal the one that began first speaks for both.
    first = {one["signal"]: one["rule"] for one in sorted(active, key=lambda one: -one["since_ms"])}
    moved = [one for one in active if one["rule"] == LEVEL_MOVED == first[one["signal"]]]
    taken = {one["signal"] for one in moved}
    grown = [one for one in active if one["rule"] == SCATTER_GROWN and one["signal"] not in taken]
    past = [row for row in look.lately(BUDGETED) if row["signal"] not in explained]
    past = [row for row in past if first.get(row["signal"], row["rule"]) == row["rule"]]
    taken |= {row["signal"] for row in past if row["rule"] == LEVEL_MOVED}
    facts = {"box": state["box"], "mold": state["mold"]}
    return [
        _bottoming(look),
        *([leak] if leak is not None else []),
        shift_condition(
            moved, [row for row in past if row["rule"] == LEVEL_MOVED], causes=look.causes, facts=facts
        ),
        scatter_condition(
            grown,
            [row for row in past if row["rule"] == SCATTER_GROWN and row["signal"] not in taken],
            causes=look.causes,
            facts=facts,
        ),
        doubt_condition(look.watching.get("doubts", {}), facts={"box": state["box"]}),
    ]


def _bottoming(look: _Look) -> Condition:
    rows = look.lately(("bottoming",))
    since = look.state["bottoming_since_ms"]
    return bottoming_condition(
        since is not None,
        bool(rows),
        facts={"since_ms": since, "box": look.state["box"]},
        last_active_ms=max((row["to_ms"] for row in rows), default=None),
    )


def _leak(look: _Look, settings: Mapping[str, Any], *, leaks: bool) -> Condition | None:
    state, seen_ms = look.state, look.seen_ms
    likelihood = _logistic(state["log_odds"])
    if likelihood is None or state["leak_status"] != "ok":
        return None
    # Only what is newer than the last look can be news.
    high = [
        row["log_odds"] for row in look.evaluation.scores if seen_ms is not None and row["at_ms"] > seen_ms
    ]
    return leak_condition(
        likelihood,
        look.causes,
        leaks,
        settings,
        highest=_logistic(max(high)) if high else None,
        facts={"box": state["box"], "mold": state["mold"], "score_ms": state["score_ms"]},
        last_active_ms=state["score_ms"],
    )


def _logistic(log_odds: float | None) -> float | None:
    return None if log_odds is None else 1.0 / (1.0 + math.exp(-log_odds))


def causes_of(packed: bytes | None) -> Mapping[str, float]:
    """The probabilities of causes as they are kept; {} without any."""
    if not packed:
        return {}
    return dict(zip(CAUSES, struct.unpack(f"<{len(CAUSES)}d", packed), strict=True))
