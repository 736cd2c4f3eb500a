"""What people did in the invented plant: cases, studies on sheets, a setting trial, the shelf, costs.

Each step goes through the function a page calls, at the moment of its day, so that it is checked, kept and
in the trail like anything people do.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.clock import as_text
from server.demo_plant import PlantStep
from server.demo_scenario import Scenario
from server.errors import NotFoundError
from server.record import cases, setting_trials, sheets, spares
from server.record.settings import change_settings
from server.record.studies import CAUTIONS
from server.store.cases import open_case
from server.store.plant import Press
from server.store.records import newest_events
from server.store.trials import running_trial

Act = Callable[[sa.Connection, Press, PlantStep], object]


def put_shelf(connection: sa.Connection, scenario: Scenario, *, who: str, now_ms: int) -> None:
    """Spares with their lead time, how hard materials are, and what valves cost."""
    for spare in scenario.spares:
        spares.put_on_shelf(connection, dict(spare), who=who, now_ms=now_ms)
    for material, wear in scenario.wear.items():
        spares.say_wear(connection, {"material": material, "wear": wear}, who=who, now_ms=now_ms)
    change_settings(connection, dict(scenario.costs), who=who, now_ms=now_ms)


def do_work(connection: sa.Connection, press: Press, steps: tuple[PlantStep, ...]) -> None:
    """The steps of a press in their order."""
    for step in steps:
        _ACTS[step.act](connection, press, step)


def _case(connection: sa.Connection, press: Press, step: PlantStep) -> None:
    body = {**step.body, "since": as_text(step.since_ms)} if step.since_ms is not None else step.body
    cases.open_one(connection, press, body, onset_ms=None, who=step.by, now_ms=step.at_ms)


def _open_case(connection: sa.Connection, press: Press) -> int:
    found = open_case(connection, press.press_id)
    if found is None:
        raise NotFoundError(f"the demo has no open case on {press.press} at this step", field="case")
    return found.case_no


def _in_case(act: Callable[..., object]) -> Act:
    def work(connection: sa.Connection, press: Press, step: PlantStep) -> None:
        number = _open_case(connection, press)
        act(connection, press, number, dict(step.body), who=step.by, now_ms=step.at_ms)

    return work


def _take_up(connection: sa.Connection, press: Press, step: PlantStep) -> None:
    """An event on record becomes the action of the case."""
    known = newest_events(connection, press.press_id, kind=step.body["kind"], limit=1)
    body = {"event": known[-1].event_no}
    number = _open_case(connection, press)
    cases.act(connection, press, number, body, who=step.by, now_ms=step.at_ms)


def _sheet(connection: sa.Connection, press: Press, step: PlantStep) -> None:
    """A study on a sheet: begun, its readings, and kept unless it stays `open`."""
    readings: Mapping[str, Any] = step.body["readings"]
    left_out = ("readings", "open")
    begun = {name: value for name, value in step.body.items() if name not in left_out}
    begun["confirmed"] = list(CAUTIONS[begun["kind"]])
    sheet = sheets.open_sheet(connection, press, begun, who=step.by, now_ms=step.at_ms)
    for k, (series, values) in enumerate(readings.items()):
        sheets.add_readings(
            connection, press, sheet.sheet_no, {"series": series, "values": values}, who=step.by,
            now_ms=step.at_ms + 60_000 * (k + 1),
        )  # fmt: skip
    if not step.body.get("open"):
        at_ms = step.at_ms + 60_000 * (len(readings) + 1)
        sheets.close_sheet(connection, press, sheet.sheet_no, None, who=step.by, now_ms=at_ms)


def _trial(connection: sa.Connection, press: Press, step: PlantStep) -> None:
    setting_trials.plan(connection, press, dict(step.body), who=step.by, now_ms=step.at_ms)


def _in_trial(act: Callable[..., object]) -> Act:
    def work(connection: sa.Connection, press: Press, step: PlantStep) -> None:
        trial = running_trial(connection, press.press_id)
        if trial is None:
            raise NotFoundError(f"the demo has no running trial on {press.press}", field="trial")
        act(connection, press, trial.trial_no, dict(step.body), who=step.by, now_ms=step.at_ms)

    return work


_ACTS: Final[dict[str, Act]] = {
    "case": _case,
    "note": _in_case(cases.note),
    "action": _in_case(cases.act),
    "take_up": _take_up,
    "verdict": _in_case(cases.close),
    "sheet": _sheet,
    "trial": _trial,
    "level": _in_trial(setting_trials.set_level),
    "splay": _in_trial(setting_trials.note_splay),
    "trial_end": _in_trial(setting_trials.end),
}
