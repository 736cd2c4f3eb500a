"""Pages of setting trials: the list with the plan, and one as it runs."""

from typing import Final

import sqlalchemy as sa
from markupsafe import Markup

from server.derived.trial_progress import RATIOS, SideEffect, TrialProgress, power, progress_of
from server.language import N_, _, plural
from server.maths.level_trial import Level
from server.show.build_work import press_choices
from server.show.pages import Choice
from server.show.plant_words import Plant, case_href, press_api, press_href, trial_href
from server.show.scale import Scale
from server.show.svg import drawing, line
from server.show.trial_rows import LevelLine, PowerRow, StepLine, TrialPage, TrialRow, TrialsPage
from server.store.plant import press_by_code
from server.store.trials import Trial, list_trials, trial_by_no
from server.words.catalogue import signal_name, worded
from server.words.guidance import caution_text
from server.words.numbers import count_word, fixed, percent, signed, whole
from server.words.units import signal_places, signal_quantity

#: Shots a level the power is told for before one is planned.
_POWER_SHOTS: Final = (15, 30, 50, 80, 120)
_STATE: Final = {
    "decided": N_("decided"),
    "complete": N_("all its shots made, nothing shown"),
    "stopped": N_("stopped undecided"),
}


def build_trials(connection: sa.Connection, plant: Plant, *, press: str = "") -> TrialsPage:
    """Trials, those that run first."""
    found = sorted(list_trials(connection, limit=100), key=lambda pair: not pair[1].runs)
    running = sum(trial.runs for _, trial in found)
    answer = _("No trial runs.")
    if running:
        answer = f"{count_word(running, capital=True)} {plural(running, 'trial runs', 'trials run')}."
    return TrialsPage(
        frame=plant.frame(_("Setting trials"), active="/studies"),
        answer=answer,
        under=_(
            "One setting at two to five levels, the order drawn by chance, judged by the shots themselves"
        ),
        rows=tuple(_row(code, trial, plant) for code, trial in found),
        presses=press_choices(connection, press, actor=plant.actor),
        powers=tuple(PowerRow(str(n), tuple(percent(one) for one in power(n))) for n in _POWER_SHOTS),
        ratios=tuple(_("{ratio:g} times the scatter", ratio=ratio) for ratio in RATIOS),
        cautions=caution_text("hot_melt", "informs_only"),
    )


def _row(press: str, trial: Trial, plant: Plant) -> TrialRow:
    return TrialRow(
        href=trial_href(press, trial.trial_no),
        name=_("Trial {trial_no}", trial_no=trial.trial_no),
        press=press,
        press_href=press_href(press),
        setting=trial.setting,
        levels=", ".join(trial.named(i) for i in range(len(trial.levels))),
        state="runs" if trial.runs else worded(_STATE, trial.ended_as),
        planned=f"{plant.moment(trial.planned_ms)}, {trial.planned_by}",
        runs=trial.runs,
    )


def build_trial(connection: sa.Connection, plant: Plant, *, press: str, number: int) -> TrialPage | None:
    """None: no such press or trial."""
    found = press_by_code(connection, press)
    trial = None if found is None else trial_by_no(connection, found.press_id, number)
    if found is None or trial is None:
        return None
    progress = progress_of(connection, found, trial, now_ms=plant.now_ms)
    tap, tap_step = _tap(trial, progress)
    recommended = progress.state.recommended
    return TrialPage(
        frame=plant.frame(_("{press} trial {number}", press=press, number=number), active="/studies"),
        answer=f"{press}: {_answer(trial, progress)}",
        under=_under(trial, plant),
        press=press,
        number=number,
        press_href=press_href(press),
        api_href=f"{press_api(press)}/trials/{number}",
        runs=trial.runs,
        steps=_steps(trial, progress),
        levels=_levels(trial, progress, plant),
        looks=_looks(progress),
        power=_power(trial, progress),
        tap=tap,
        tap_step=tap_step,
        splay_step=progress.current.number if progress.current else 0,
        kept=tuple(
            Choice(
                level,
                trial.named(i) + (_(", as today") if i == trial.today else ""),
                i == (trial.today if recommended is None else recommended),
            )
            for i, level in enumerate(trial.levels)
        ),
        cautions=caution_text("hot_melt", "informs_only"),
        done_pct=round(100 * progress.shots / max(1, progress.wanted)),
        facts=_facts(trial, plant),
        case_href="" if trial.case_no is None else case_href(press, trial.case_no),
        unit_of_signal=plant.units.written(signal_quantity(trial.signal)),
    )


def _answer(trial: Trial, progress: TrialProgress) -> str:
    state = progress.state
    if state.recommended is not None:
        chance = percent(state.levels[state.recommended].best)
        return _(
            "decided. {setting} {named} is the steadiest, {chance} sure.",
            setting=trial.setting,
            named=trial.named(state.recommended),
            chance=chance,
        )
    if not trial.runs:
        return f"{worded(_STATE, trial.ended_as)}."
    current, following = progress.current, progress.following
    if current is None:
        return _(
            "set {setting} to {named}, then tap.", setting=trial.setting, named=trial.named(trial.plan[0])
        )
    if current.shots < current.wanted:
        left = current.wanted - current.shots
        return _(
            "{named} runs, {left} {shot} to go.",
            named=trial.named(current.level),
            left=whole(left),
            shot=plural(left, "shot", "shots"),
        )
    if following is not None:
        return _(
            "set {setting} to {named} now, then tap.",
            setting=trial.setting,
            named=trial.named(following.level),
        )
    return _("all its shots are made and no difference of scatter was shown.")


def _under(trial: Trial, plant: Plant) -> str:
    order = _("order drawn by chance") if trial.ordering == "randomised" else _("levels step by step")
    return _(
        "Trial {trial_no} · {setting}, {levels} levels · {shots_per_level} shots each,"
        " {settling} dropped after each change · {order} · judged by {signal}",
        trial_no=trial.trial_no,
        setting=trial.setting,
        levels=whole(len(trial.levels)),
        shots_per_level=whole(trial.shots_per_level),
        settling=whole(trial.settling),
        order=order,
        signal=signal_name(trial.signal).lower(),
    )


def _tap(trial: Trial, progress: TrialProgress) -> tuple[str, int]:
    following = progress.following
    if not trial.runs or following is None or progress.state.decided_at is not None:
        return "", 0
    return _(
        "{setting} is set to {named} now", setting=trial.setting, named=trial.named(following.level)
    ), following.number


def _steps(trial: Trial, progress: TrialProgress) -> tuple[StepLine, ...]:
    current, following = progress.current, progress.following
    lines = []
    for one in progress.steps:
        state = "later"
        if one is following:
            state = "next"
        if one.step is not None:
            state = "runs" if one is current and trial.runs and one.shots < one.wanted else "done"
        text = {"later": "later", "next": "next", "runs": "runs", "done": "done"}[state]
        if state == "runs" and one.settling < trial.settling:
            text = _("settling, {settling} of {settling_2}", settling=one.settling, settling_2=trial.settling)
        splay = "" if one.step is None or one.step.splay is None else whole(one.step.splay)
        lines.append(StepLine(one.number, trial.named(one.level), state, text, one.shots, one.wanted, splay))
    return tuple(lines)


def _levels(trial: Trial, progress: TrialProgress, plant: Plant) -> tuple[LevelLine, ...]:
    known = progress.state.levels
    if not known:
        return ()
    ends = [end for one in known for end in one.sigma_interval]
    air = 0.05 * (max(ends) - min(ends)) or 0.1
    across = Scale(low=min(ends) - air, high=max(ends) + air, left=2.0, right=198.0)
    return tuple(_level(trial, progress, plant, level, i, across) for i, level in enumerate(known))


def _level(
    trial: Trial, progress: TrialProgress, plant: Plant, level: Level, i: int, across: Scale
) -> LevelLine:
    quantity, places = signal_quantity(trial.signal), signal_places(trial.signal, plant.units)

    def spread(value: float) -> str:
        return fixed(plant.units.shown_difference(quantity, value), places + 1)

    mean = progress.means[i]
    difference, between = "–", ""
    if mean is not None:
        figures = (mean.difference, mean.lower, mean.upper)
        ends = [plant.units.shown_difference(quantity, one) for one in figures]
        difference, between = (
            signed(ends[0]),
            _("{ends} to {ends_2}", ends=signed(ends[1]), ends_2=signed(ends[2])),
        )
    return LevelLine(
        name=trial.named(i),
        is_today=i == trial.today,
        recommended=i == progress.state.recommended,
        shots=whole(level.shots),
        sigma=spread(level.sigma),
        sigma_interval=_(
            "{spread} to {spread_2}",
            spread=spread(level.sigma_interval[0]),
            spread_2=spread(level.sigma_interval[1]),
        ),
        best=percent(level.best),
        mean=fixed(plant.units.shown(quantity, level.mean), places),
        difference=difference,
        difference_interval=between,
        recovery=_side(progress, "recovery_time_s", i),
        cycle=_side(progress, "cycle_time_s", i),
        splay=_("not looked") if progress.splay[i] is None else whole(progress.splay[i]),
        picture=_picture(trial.named(i), level, across),
    )


def _side(progress: TrialProgress, signal: str, level: int) -> str:
    found: SideEffect | None = next(
        (one for one in progress.sides if one.signal == signal and one.level == level), None
    )
    if found is None:
        return _("not sent")
    if found.compared is None:
        return fixed(found.mean, 2)
    clear = found.compared.lower > 0.0 or found.compared.upper < 0.0
    return (
        f"{fixed(found.mean, 2)} ({signed(found.compared.difference)}{'' if clear else _(', could be none')})"
    )


def _picture(name: str, level: Level, across: Scale) -> Markup:
    at, (low, high) = across.at(level.sigma), level.sigma_interval
    parts = [
        line(across.at(low), 8.0, across.at(high), 8.0, "proof-after"),
        line(at, 3.0, at, 13.0, "proof-after"),
    ]
    alt = _("scatter at {name} with its interval, on one ruler with the other levels", name=name)
    return drawing(parts, width=200.0, height=16.0, alt=alt, class_="spread")


def _looks(progress: TrialProgress) -> tuple[str, ...]:
    lines = [
        _(
            "At {shots} shots a level: p {p:.3g}, decided at {allowed:.2g} or below",
            shots=one.shots,
            p=one.p,
            allowed=one.allowed,
        )
        + (_(": decided.") if one.decides else _(": open."))
        for one in progress.state.looks
    ]
    if progress.state.next_look is not None:
        lines.append(_("The next look is at {next_look} shots a level.", next_look=progress.state.next_look))
    return tuple(lines)


def _power(trial: Trial, progress: TrialProgress) -> tuple[str, ...]:
    def told(chances: tuple[float, ...]) -> str:
        return ", ".join(
            _("{chance} for {ratio:g} times the scatter", chance=percent(chance), ratio=ratio)
            for ratio, chance in zip(RATIOS, chances, strict=True)
        )

    planned = told(progress.power_planned)
    lines = [
        _(
            "With {shots_per_level} shots a level the chance to see it is {planned}.",
            shots_per_level=trial.shots_per_level,
            planned=planned,
        )
    ]
    if trial.runs:
        lines.append(_("With the shots so far it would be {told}.", told=told(progress.power_now)))
    if trial.shots_per_level < 30:
        lines.append(_("So few shots see little: a level that is steadier may well go unseen."))
    return tuple(lines)


def _facts(trial: Trial, plant: Plant) -> tuple[tuple[str, str], ...]:
    rows = [
        (_("Planned"), f"{plant.moment(trial.planned_ms)}, {trial.planned_by}"),
        (_("Today's level"), trial.named(trial.today)),
        (_("Seed of the order"), str(trial.seed)),
    ]
    if not trial.runs:
        kept = _("not said") if trial.kept_level is None else trial.named(trial.kept_level)
        rows += [(_("Ended"), f"{plant.moment(trial.ended_ms)}, {trial.ended_by}"), (_("Goes on with"), kept)]
    if trial.note:
        rows.append((_("Note"), trial.note))
    return tuple(rows)
