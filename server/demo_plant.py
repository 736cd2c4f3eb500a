"""The invented plant of `ringtell demo`: its people, molds, presses, and every shot they make.

`demo_data/plant.json` says what there is and what happens; `valve.press_sim` makes the shots. The
calendar hangs on the moment the demo opens, so that the last shots are fresh: day 0 begins `days`
days before it. All is seeded, so the same moment gives the same history.
"""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from server.demo_scenario import DemoPress, Mold, Person, Scenario, plant_scenario
from server.valve.press_model import Effect
from server.valve.press_sim import Simulated, simulate

__all__ = [
    "Box",
    "DemoPress",
    "FittedValve",
    "LiveShots",
    "Lot",
    "Mold",
    "Person",
    "PlantEvent",
    "PlantStep",
    "PressHistory",
    "Scenario",
    "plant_scenario",
    "press_history",
]

_DAY_MS: Final = 86_400_000
#: Shots made ahead for the time after the demo opened: about a week.
AHEAD: Final = 20_000
#: Shots of the startup record, after the first ones of the first run.
WARM_UP, RECORD = 60, 600


@dataclasses.dataclass(frozen=True)
class Lot:
    """A material lot on a press; to_ms None: still in use."""

    lot: str
    material: str
    from_ms: int
    to_ms: int | None


@dataclasses.dataclass(frozen=True)
class Box:
    """Where parts went: shots from from_ms to to_ms, both included."""

    box: str
    from_ms: int
    to_ms: int


@dataclasses.dataclass(frozen=True)
class PlantEvent:
    """Something people wrote down; kind of contract.EVENT_KINDS."""

    kind: str
    at_ms: int
    setting: str | None = None
    from_value: str | None = None
    to_value: str | None = None
    lot: str | None = None
    note: str = ""
    by: str = "engineer"


@dataclasses.dataclass(frozen=True)
class PlantStudy:
    """An off-line check; `asked` as the API takes it, without press and time."""

    at_ms: int
    kind: str
    asked: Mapping[str, Any]


@dataclasses.dataclass(frozen=True)
class PlantStep:
    """Something people did in a case, on a sheet or in a trial; `body` as the API takes it."""

    at_ms: int
    by: str
    act: str
    body: Mapping[str, Any]
    since_ms: int | None = None


@dataclasses.dataclass(frozen=True)
class FittedValve:
    """A valve of the ledger; shots_before: on it when it was first recorded here."""

    style: str
    from_ms: int
    to_ms: int | None
    shots_before: int
    found: str


@dataclasses.dataclass(frozen=True)
class PressHistory:
    """What a press has sent until the demo opened.

    columns: at_ms, counter, the signals it reports (float64, NaN = not given), lot and box (object
    arrays of str). truth: arrays beside them, never sent. baseline_from_ms / baseline_to_ms: the
    startup record, both shots included.
    """

    press: str
    until_ms: int
    columns: dict[str, NDArray[Any]]
    truth: dict[str, NDArray[Any]]
    lots: tuple[Lot, ...]
    boxes: tuple[Box, ...]
    events: tuple[PlantEvent, ...]
    studies: tuple[PlantStudy, ...]
    work: tuple[PlantStep, ...]
    valves: tuple[FittedValve, ...]
    baseline_from_ms: int
    baseline_to_ms: int


def press_history(scenario: Scenario, press: DemoPress, *, until_ms: int) -> PressHistory:
    """Every shot of a press from `days` days before until_ms to until_ms, its lots, boxes, events."""
    calendar = _Calendar(scenario, press, until_ms)
    shots = _run(scenario, press, calendar)
    past = shots.kept(shots.columns["at_ms"] <= calendar.opens_ms)
    at = past.columns["at_ms"]
    first, last = WARM_UP, min(WARM_UP + RECORD, len(at)) - 1
    return PressHistory(
        press=press.press,
        until_ms=until_ms,
        columns=past.columns,
        truth=past.truth,
        lots=_lots(press, calendar),
        boxes=_boxes(past.columns),
        events=_events(press, calendar),
        studies=_studies(press, calendar),
        work=_work(press, calendar),
        valves=_valves(press, calendar),
        baseline_from_ms=int(at[first]),
        baseline_to_ms=int(at[last]),
    )


class LiveShots:
    """Shots of a press after the demo opened, trickling in: the same story going on.

    until_ms must be that of the history. `due(now_ms)` gives each shot once, when its time has
    come, as a row of the wire: at_ms, counter, signals, lot, box.
    """

    def __init__(self, scenario: Scenario, press: DemoPress, *, until_ms: int) -> None:
        calendar = _Calendar(scenario, press, until_ms)
        shots = _run(scenario, press, calendar)
        self._columns = shots.kept(shots.columns["at_ms"] > calendar.opens_ms).columns
        self._next = 0 if press.live else len(self._columns["at_ms"])

    def skip(self, *, after_ms: int) -> None:
        """Leave out what a press made up to after_ms, e.g. while the demo was closed."""
        there = int(np.searchsorted(self._columns["at_ms"], after_ms, side="right"))
        self._next = max(self._next, there)

    def due(self, now_ms: int) -> list[dict[str, int | float | str]]:
        """The rows whose time has come by now_ms."""
        end = int(np.searchsorted(self._columns["at_ms"], now_ms, side="right"))
        rows = [self._row(i) for i in range(self._next, end)]
        self._next = max(self._next, end)
        return rows

    def _row(self, i: int) -> dict[str, int | float | str]:
        row: dict[str, int | float | str] = {}
        for name, column in self._columns.items():
            value = column[i].item() if isinstance(column[i], np.generic) else column[i]
            if value == value:
                row[name] = value
        return row


class _Calendar:
    """When a press runs, and which shot stands at which day of the story."""

    def __init__(self, scenario: Scenario, press: DemoPress, until_ms: int) -> None:
        self.until_ms = until_ms
        self.opens_ms = until_ms - 60_000 * int(press.plan["silent_min"])
        self.days = scenario.days
        self.seed = scenario.seed * 1000 + int.from_bytes(press.press.encode()[-2:], "big")
        rng = np.random.default_rng(self.seed)
        cycle_ms = 1000.0 * press.model.process.cycle_time_s
        length = int(3_600_000 * press.hours_a_day)
        times = []
        for back in range(scenario.days, -1, -1):
            if back % 7 in (2, 3):  # days off
                continue
            end = self.opens_ms - back * _DAY_MS
            times.append(_window(end - length, end, cycle_ms, rng))
        ahead = self.opens_ms + np.cumsum(cycle_ms * (1.0 + 0.005 * rng.standard_normal(AHEAD)))
        self.at_ms = np.concatenate([*times, ahead]).astype(np.int64)

    def moment(self, day: float) -> int:
        """The time a day of the story begins: its run, not its midnight."""
        if day < 0:
            return self._midnight(day)
        return int(self.at_ms[min(self.ordinal(day), len(self.at_ms) - 1)]) - 1

    def shot(self, day: float, number: int) -> int:
        """The time just before a shot of a day of the story, counted from its first."""
        return int(self.at_ms[self.ordinal(day) + number]) - 1

    def ordinal(self, day: float) -> int:
        """The first shot of a day of the story."""
        return int(np.searchsorted(self.at_ms, self._midnight(day)))

    def _midnight(self, day: float) -> int:
        return self.until_ms - int((self.days - day + 0.5) * _DAY_MS)


def _window(begin: int, end: int, cycle_ms: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Shot times of one day's run, one short stop and, on every second day, one of 16 to 25 minutes."""
    n = int((end - begin) / cycle_ms)
    at = begin + np.cumsum(cycle_ms * (1.0 + 0.005 * rng.standard_normal(n)))
    at[int(n * rng.uniform(0.2, 0.5)) :] += 60_000 * rng.uniform(5.5, 8)
    if rng.random() < 0.5:
        at[int(n * rng.uniform(0.5, 0.8)) :] += 60_000 * rng.uniform(16, 25)
    return np.asarray(at[at <= end])


def _run(scenario: Scenario, press: DemoPress, calendar: _Calendar) -> Simulated:
    """All shots of a press, the week ahead included, as it reports them."""
    shots = simulate(press.model, at_ms=calendar.at_ms, seed=calendar.seed, story=_story(press, calendar))
    columns: dict[str, NDArray[Any]] = {name: shots.columns[name] for name in ("at_ms", "counter")}
    columns |= {name: shots.columns[name] for name in press.plan["reports"] if name in shots.columns}
    columns["lot"] = _lot_column(press, calendar)
    columns["box"] = _box_column(scenario, press, len(calendar.at_ms))
    rng = np.random.default_rng(calendar.seed + 1)
    kept = rng.random(len(calendar.at_ms)) >= press.model.noise.lost_share
    return Simulated(columns=columns, truth=shots.truth).kept(kept)


def _story(press: DemoPress, calendar: _Calendar) -> list[Effect]:
    """The effects of the scenario by shot ordinal; lots bring their viscosity."""
    story = []
    for entry in press.plan["story"]:
        at = calendar.ordinal(entry["from_day"])
        until = calendar.ordinal(entry["to_day"]) if "to_day" in entry else None
        grown = calendar.ordinal(entry["from_day"] + entry.get("ramp_days", 0)) - at
        story.append(Effect(entry["kind"], at, entry["size"], until=until, ramp=grown))
    days = [entry["from_day"] for entry in press.plan["lots"]]
    for entry, end in zip(press.plan["lots"], [*days[1:], None], strict=True):
        until = None if end is None else calendar.ordinal(end)
        story.append(
            Effect("viscosity", calendar.ordinal(entry["from_day"]), entry["viscosity"], until=until)
        )
    return story


def _lot_column(press: DemoPress, calendar: _Calendar) -> NDArray[Any]:
    lots = press.plan["lots"]
    starts = [calendar.ordinal(entry["from_day"]) for entry in lots]
    which = np.searchsorted(starts, np.arange(len(calendar.at_ms)), side="right") - 1
    return np.array([entry["lot"] for entry in lots], dtype=object)[np.maximum(which, 0)]


def _box_column(scenario: Scenario, press: DemoPress, n: int) -> NDArray[Any]:
    mold = scenario.mold(press.mold)
    shots_a_box = max(1, mold.parts_per_box // mold.cavities)
    number = np.arange(n) // shots_a_box
    names = [f"{press.press[1:]}{k + 1:03d}" for k in range(int(number[-1]) + 1)]
    return np.array(names, dtype=object)[number]


def _boxes(columns: Mapping[str, NDArray[Any]]) -> tuple[Box, ...]:
    box, at = columns["box"], columns["at_ms"]
    starts = [0, *(np.flatnonzero(box[1:] != box[:-1]) + 1).tolist()]
    ends = [*[i - 1 for i in starts[1:]], len(box) - 1]
    return tuple(Box(str(box[i]), int(at[i]), int(at[j])) for i, j in zip(starts, ends, strict=True))


def _lots(press: DemoPress, calendar: _Calendar) -> tuple[Lot, ...]:
    days: Sequence[float | None] = [*[entry["from_day"] for entry in press.plan["lots"]], None]
    found = []
    for entry, end in zip(press.plan["lots"], days[1:], strict=True):
        to_ms = None if end is None else calendar.moment(end)
        found.append(Lot(entry["lot"], press.material, calendar.moment(entry["from_day"]), to_ms))
    return tuple(found)


def _studies(press: DemoPress, calendar: _Calendar) -> tuple[PlantStudy, ...]:
    """Off-line checks as they would be entered; `samples` stand in the file as pairs."""
    found = []
    for entry in press.plan.get("studies", ()):
        asked = {name: value for name, value in entry.items() if name not in ("day", "kind")}
        if "samples" in asked:
            asked["samples"] = [{"t_s": t, "position_mm": position} for t, position in asked["samples"]]
        if entry["kind"] != "inspection":
            asked["mold"] = press.mold
        found.append(PlantStudy(calendar.moment(entry["day"]), entry["kind"], asked))
    return tuple(found)


def _work(press: DemoPress, calendar: _Calendar) -> tuple[PlantStep, ...]:
    """What people did, in the order of the file."""
    return tuple(
        PlantStep(
            at_ms=calendar.shot(entry["day"], entry["shot"]),
            by=entry["by"],
            act=entry["act"],
            body=entry.get("body", {}),
            since_ms=calendar.moment(entry["since_day"]) if "since_day" in entry else None,
        )
        for entry in press.plan.get("work", ())
    )


def _events(press: DemoPress, calendar: _Calendar) -> tuple[PlantEvent, ...]:
    """What people wrote down, lot changes included, in order of time."""
    found = [PlantEvent(kind="mold_start", at_ms=calendar.moment(0), note=f"{press.mold} started", by="line")]
    for lot in _lots(press, calendar)[1:]:
        found.append(PlantEvent(kind="lot", at_ms=lot.from_ms, lot=lot.lot, by="line"))
    for entry in press.plan["events"]:
        rest = {name: value for name, value in entry.items() if name != "day"}
        found.append(PlantEvent(at_ms=calendar.moment(entry["day"]), **rest))
    return tuple(sorted(found, key=lambda event: event.at_ms))


def _valves(press: DemoPress, calendar: _Calendar) -> tuple[FittedValve, ...]:
    return tuple(
        FittedValve(
            style=press.valve_style,
            from_ms=calendar.moment(entry["from_day"]),
            to_ms=calendar.moment(entry["to_day"]) if "to_day" in entry else None,
            shots_before=entry["shots_before"],
            found=entry.get("found", ""),
        )
        for entry in press.plan["valves"]
    )
