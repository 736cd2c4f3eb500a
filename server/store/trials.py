"""Setting trials: their plan, and the levels as they were set."""

import dataclasses
import json
from typing import Any

import sqlalchemy as sa

from server.store.numbering import next_of_press
from server.store.tables import presses, setting_trials, trial_steps


@dataclasses.dataclass(frozen=True)
class Trial:
    """A trial of one setting. `plan`: the level of each step, by its place in `levels`."""

    press_id: int
    trial_no: int
    setting: str
    unit: str
    signal: str
    levels: tuple[str, ...]
    today: int
    shots_per_level: int
    settling: int
    ordering: str
    seed: int
    plan: tuple[int, ...]
    planned_ms: int
    planned_by: str
    note: str = ""
    case_no: int | None = None
    ended_ms: int | None = None
    ended_by: str | None = None
    ended_as: str = ""
    kept_level: int | None = None
    result: dict[str, Any] = dataclasses.field(default_factory=dict)
    open_mark: int | None = 1

    @property
    def runs(self) -> bool:
        return self.ended_ms is None

    def named(self, level: int) -> str:
        """A level with its unit."""
        return f"{self.levels[level]} {self.unit}".strip()


@dataclasses.dataclass(frozen=True)
class TrialStep:
    """A level set at a moment; `splay`: shots of it with splay, by eye, None where nobody looked."""

    press_id: int
    trial_no: int
    step_no: int
    level: int
    at_ms: int
    who: str
    splay: int | None = None


_DOCUMENTS = ("levels", "plan", "result")


def _trial(row: Any) -> Trial:
    values = {field.name: getattr(row, field.name) for field in dataclasses.fields(Trial)}
    values |= {name: json.loads(values[name]) for name in _DOCUMENTS}
    return Trial(**{**values, "levels": tuple(values["levels"]), "plan": tuple(values["plan"])})


def add_trial(connection: sa.Connection, trial: Trial) -> Trial:
    """Keep a plan under the press's next number."""
    number = next_of_press(connection, setting_trials.c.trial_no, trial.press_id)
    kept = dataclasses.replace(trial, trial_no=number)
    values = dataclasses.asdict(kept)
    values |= {name: json.dumps(values[name]) for name in _DOCUMENTS}
    connection.execute(sa.insert(setting_trials).values(**values))
    return kept


def end_trial(connection: sa.Connection, trial: Trial, **changes: Any) -> Trial:
    values = {**changes, "open_mark": None}
    written = {**values, "result": json.dumps(values["result"], sort_keys=True)}
    connection.execute(
        sa.update(setting_trials)
        .where(setting_trials.c.press_id == trial.press_id, setting_trials.c.trial_no == trial.trial_no)
        .values(**written)
    )
    return dataclasses.replace(trial, **values)


def trial_by_no(connection: sa.Connection, press_id: int, trial_no: int) -> Trial | None:
    row = connection.execute(
        sa.select(setting_trials).where(
            setting_trials.c.press_id == press_id, setting_trials.c.trial_no == trial_no
        )
    ).one_or_none()
    return None if row is None else _trial(row)


def running_trial(connection: sa.Connection, press_id: int) -> Trial | None:
    """The trial that runs on a press; there is at most one."""
    row = connection.execute(
        sa.select(setting_trials).where(
            setting_trials.c.press_id == press_id, setting_trials.c.open_mark == 1
        )
    ).one_or_none()
    return None if row is None else _trial(row)


def list_trials(
    connection: sa.Connection,
    *,
    press_id: int | None = None,
    runs: bool | None = None,
    after: tuple[int, int, int] | None = None,
    limit: int = 100,
) -> list[tuple[str, Trial]]:
    """Trials with the code of their press, newest first. after: (planned_ms, press_id, trial_no)."""
    query = sa.select(presses.c.press.label("of_press"), setting_trials).join(
        presses, presses.c.press_id == setting_trials.c.press_id
    )
    if press_id is not None:
        query = query.where(setting_trials.c.press_id == press_id)
    if runs is not None:
        mark = setting_trials.c.open_mark
        query = query.where(mark == 1 if runs else mark.is_(None))
    key = (setting_trials.c.planned_ms, setting_trials.c.press_id, setting_trials.c.trial_no)
    if after is not None:
        query = query.where(sa.tuple_(*key) < after)
    rows = connection.execute(query.order_by(*(one.desc() for one in key)).limit(limit))
    return [(str(row.of_press), _trial(row)) for row in rows]


def steps_of(connection: sa.Connection, trial: Trial) -> list[TrialStep]:
    """The levels in the order in which they were set."""
    rows = connection.execute(
        sa.select(trial_steps)
        .where(trial_steps.c.press_id == trial.press_id, trial_steps.c.trial_no == trial.trial_no)
        .order_by(trial_steps.c.step_no)
    )
    return [TrialStep(**row._mapping) for row in rows]


def add_step(connection: sa.Connection, step: TrialStep) -> TrialStep:
    connection.execute(sa.insert(trial_steps).values(**dataclasses.asdict(step)))
    return step


def put_splay(connection: sa.Connection, step: TrialStep, splay: int) -> TrialStep:
    connection.execute(
        sa.update(trial_steps)
        .where(
            trial_steps.c.press_id == step.press_id,
            trial_steps.c.trial_no == step.trial_no,
            trial_steps.c.step_no == step.step_no,
        )
        .values(splay=splay)
    )
    return dataclasses.replace(step, splay=splay)
