"""Setting trials as they run: planned here, set at the press, watched by the shots, ended with a level."""

import secrets
from typing import Any, Final

import numpy as np
import sqlalchemy as sa

from server.derived.trial_progress import TrialProgress, progress_of
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.record.events import keep as keep_event
from server.record.fields import Given, refuse
from server.store.audit import add_audit
from server.store.cases import open_case
from server.store.numbering import lock_press
from server.store.plant import Press
from server.store.records import Event, Study, add_study
from server.store.trials import (
    Trial,
    TrialStep,
    add_step,
    add_trial,
    end_trial,
    put_splay,
    running_trial,
    steps_of,
    trial_by_no,
)

ORDERINGS: Final = ("randomised", "stepped")
#: What a trial may be judged by.
SIGNALS: Final = ("swept_mm", "cushion_mm", "part_weight_g")
SHOTS_DEFAULT: Final = 50
#: Shots dropped after each change of level (common practice, no source).
SETTLING_DEFAULT: Final = 10
ROUNDS_DEFAULT: Final = 2

_FIELDS: Final = (
    "setting", "unit", "signal", "levels", "today", "shots_per_level", "settling", "ordering", "rounds",
    "seed", "note",
)  # fmt: skip


def plan(connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int) -> Trial:
    """Plan a trial of 2 to 5 levels; its order is drawn here and kept with its seed."""
    given = Given.of(body, known=_FIELDS)
    given.need("setting", "levels")
    lock_press(connection, press.press_id)
    if running_trial(connection, press.press_id) is not None:
        raise ConflictError(
            N_("a trial runs on press {press} already; end it before another is planned", press=press.press)
        )
    levels = _levels(given)
    ordering = given.choice("ordering", ORDERINGS) if given.has("ordering") else ORDERINGS[0]
    rounds = given.whole("rounds", least=1, most=5)
    seed = given.whole("seed", least=0, most=(1 << 53) - 1)
    seed = secrets.randbelow(1 << 53) if seed is None else seed
    rounds = 1 if ordering == "stepped" else ROUNDS_DEFAULT if rounds is None else rounds
    shots = given.whole("shots_per_level", least=15, most=500)
    settling = given.whole("settling", least=0, most=100)
    case = open_case(connection, press.press_id)
    trial = add_trial(
        connection,
        Trial(
            press_id=press.press_id,
            trial_no=0,
            setting=given.text("setting"),
            unit=given.text("unit", longest=20),
            signal=given.choice("signal", SIGNALS) if given.has("signal") else SIGNALS[0],
            levels=levels,
            today=_today(given, levels),
            shots_per_level=SHOTS_DEFAULT if shots is None else shots,
            settling=SETTLING_DEFAULT if settling is None else settling,
            ordering=ordering,
            seed=seed,
            plan=planned_order(len(levels), rounds=rounds, ordering=ordering, seed=seed),
            planned_ms=now_ms,
            planned_by=who,
            note=given.note(),
            case_no=None if case is None else case.case_no,
        ),
    )
    told = {"setting": trial.setting, "levels": list(levels), "plan": list(trial.plan), "seed": seed}
    _audit(connection, press, trial, "trial_planned", who, now_ms, told)
    return trial


def _levels(given: Given) -> tuple[str, ...]:
    value = given.body["levels"]
    if not isinstance(value, list) or not 2 <= len(value) <= 5:
        raise refuse("levels", value, N_("a list of 2 to 5 levels"))
    found = []
    for i, one in enumerate(value):
        text = Given({f"levels[{i}]": one}).text(f"levels[{i}]", longest=40)
        if not text:
            raise refuse(f"levels[{i}]", one, N_("a number or a text"))
        found.append(text)
    if len(set(found)) != len(found):
        raise refuse("levels", value, N_("a list with each level once"))
    return tuple(found)


def _today(given: Given, levels: tuple[str, ...]) -> int:
    today = given.text("today", longest=40, default=levels[0])
    if today not in levels:
        raise refuse("today", today, N_("one of the levels, {join}", join=", ".join(levels)))
    return levels.index(today)


def planned_order(levels: int, *, rounds: int, ordering: str, seed: int) -> tuple[int, ...]:
    """Stepped: each level once as given. Randomised: in every round all levels in an order drawn anew.

    Whole rounds keep a drift of the press from passing for an effect of a level. No level follows itself.

    >>> planned_order(3, rounds=1, ordering="stepped", seed=1)
    (0, 1, 2)
    >>> order = planned_order(3, rounds=2, ordering="randomised", seed=1)
    >>> sorted(order[:3]), sorted(order[3:]), order[2] != order[3]
    ([0, 1, 2], [0, 1, 2], True)
    """
    if ordering == "stepped":
        return tuple(range(levels))
    chance = np.random.default_rng(seed)
    order: list[int] = []
    for _ in range(rounds):
        drawn = [int(level) for level in chance.permutation(levels)]
        if order and drawn[0] == order[-1]:
            drawn = [*drawn[1:], drawn[0]]
        order += drawn
    return tuple(order)


def need_trial(connection: sa.Connection, press: Press, number: int) -> Trial:
    found = trial_by_no(connection, press.press_id, number)
    if found is None:
        raise NotFoundError(
            N_(
                "press {press} has no trial {number}; GET /api/v1/trials lists them",
                press=press.press,
                number=number,
            ),
            field="trial",
        )
    return found


def _need_running(connection: sa.Connection, press: Press, number: int) -> Trial:
    # Locked first, so that two taps at once do not both set the next level.
    lock_press(connection, press.press_id)
    trial = need_trial(connection, press, number)
    if not trial.runs:
        raise ConflictError(
            N_("trial {number} of press {press} has ended; plan another", number=number, press=press.press)
        )
    return trial


def set_level(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> TrialStep:
    """Say that the next level of the plan is set now; shots from now on are its own.

    `step` says which one is meant, so that two taps at once do not skip a level.
    """
    given = Given.of(body, known=("step",))
    trial = _need_running(connection, press, number)
    steps = steps_of(connection, trial)
    wanted = given.whole("step", least=1, most=100)
    if wanted is not None and wanted <= len(steps):
        return steps[wanted - 1]
    if len(steps) >= len(trial.plan):
        raise ConflictError(
            N_("every level of the plan has been set; end the trial when its shots have come")
        )
    if wanted is not None and wanted != len(steps) + 1:
        raise InvalidError(
            N_("step is {wanted}; the next one is {steps}", wanted=wanted, steps=len(steps) + 1), field="step"
        )
    if steps and now_ms <= steps[-1].at_ms:
        raise ConflictError(N_("the level before was set this very moment; let some shots come first"))
    level = trial.plan[len(steps)]
    step = add_step(connection, TrialStep(press.press_id, trial.trial_no, len(steps) + 1, level, now_ms, who))
    # A note, not a setting event: that would end the startup record the press is judged against.
    note = f"trial {trial.trial_no}, step {step.step_no}: {trial.setting} {trial.named(level)}"
    keep_event(connection, press, _event(press, "note", now_ms, who, note=note), now_ms=now_ms)
    _audit(connection, press, trial, "trial_level_set", who, now_ms, {"step": step.step_no, "level": level})
    return step


def note_splay(
    connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int
) -> TrialStep:
    """In how many shots of the step that runs (or of `step`) somebody saw splay; 0: looked, saw none."""
    given = Given.of(body, known=("shots", "step"))
    given.need("shots")
    trial = _need_running(connection, press, number)
    steps = steps_of(connection, trial)
    if not steps:
        raise ConflictError(N_("no level has been set yet"))
    wanted = given.whole("step", least=1, most=len(steps)) or len(steps)
    shots = given.whole("shots", least=0, most=10_000)
    assert shots is not None
    step = put_splay(connection, steps[wanted - 1], shots)
    _audit(connection, press, trial, "trial_splay_noted", who, now_ms, {"step": wanted, "shots": shots})
    return step


def end(connection: sa.Connection, press: Press, number: int, body: Any, *, who: str, now_ms: int) -> Trial:
    """End a trial; `kept` is the level the press goes on with, today's unless said.

    The result is kept with it and among the studies. Another level than today's is a setting event, and so
    an action of the open case.
    """
    given = Given.of(body, known=("kept", "note"))
    trial = _need_running(connection, press, number)
    kept_text = given.text("kept", longest=40, default=trial.levels[trial.today])
    if kept_text not in trial.levels:
        raise refuse("kept", kept_text, N_("one of the levels, {join}", join=", ".join(trial.levels)))
    kept = trial.levels.index(kept_text)
    progress = progress_of(connection, press, trial, now_ms=now_ms)
    decided = progress.state.decided_at is not None
    ended_as = "decided" if decided else "complete" if progress.complete else "stopped"
    ended = end_trial(
        connection, trial, ended_ms=now_ms, ended_by=who, ended_as=ended_as, kept_level=kept,
        result=progress.as_result(),
    )  # fmt: skip
    _keep_study(connection, press, ended, progress, note=given.note(), who=who, now_ms=now_ms)
    if kept != trial.today:
        event = _event(
            press, "setting", now_ms, who, note=f"after trial {trial.trial_no}", setting=trial.setting,
            from_value=trial.named(trial.today), to_value=trial.named(kept),
        )  # fmt: skip
        keep_event(connection, press, event, now_ms=now_ms)
    _audit(connection, press, ended, "trial_ended", who, now_ms, {"as": ended_as, "kept": kept_text})
    return ended


def result_text(trial: Trial, progress: TrialProgress) -> str:
    """What came out, in a sentence."""
    best = progress.state.recommended
    if best is not None:
        chance = progress.state.levels[best].best
        return (
            f"{trial.setting} {trial.named(best)} is the steadiest, with a probability of"
            f" {100 * chance:.0f} %; the levels differ (at {progress.state.decided_at} shots a level)."
        )
    if progress.complete:
        return (
            f"No difference of scatter was shown with {trial.shots_per_level} shots a level; a 1.5-fold one"
            f" would have been seen with a chance of {100 * progress.power_planned[0]:.0f} %."
        )
    return "Stopped before it was decided; nothing follows from it."


def _keep_study(
    connection: sa.Connection, press: Press, trial: Trial, progress: TrialProgress, *, note: str, who: str,
    now_ms: int,
) -> None:  # fmt: skip
    verdict = "spread" if progress.state.decided_at is not None else "no_difference"
    if trial.ended_as == "stopped":
        verdict = "undecided"
    add_study(
        connection,
        Study(
            press_id=press.press_id,
            study_no=0,
            kind="setting-trial",
            at_ms=now_ms,
            mold="",
            asked={"trial": trial.trial_no, "setting": trial.setting, "levels": list(trial.levels),
                   "signal": trial.signal, "seed": trial.seed, "plan": list(trial.plan), "note": note},
            result={**trial.result, "text": result_text(trial, progress)},
            verdict=verdict,
            author=who,
        ),
    )  # fmt: skip


def _event(
    press: Press, kind: str, at_ms: int, who: str, *, note: str, setting: str = "", from_value: str = "",
    to_value: str = "",
) -> Event:  # fmt: skip
    return Event(
        press_id=press.press_id, at_ms=at_ms, event_no=0, kind=kind, setting=setting, from_value=from_value,
        to_value=to_value, lot="", note=note, author=who, recorded_ms=at_ms,
    )  # fmt: skip


def _audit(
    connection: sa.Connection, press: Press, trial: Trial, action: str, who: str, now_ms: int, after: Any
) -> None:
    add_audit(
        connection, press.press_id, now_ms=now_ms, who=who, action=action,
        subject=f"{press.press} trial {trial.trial_no}", after=after,
    )  # fmt: skip
