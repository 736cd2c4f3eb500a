"""`ringtell demo`: the invented plant poured into a fresh database, then served, shots trickling in."""

import contextlib
import dataclasses
import functools
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from tqdm import tqdm

from server.access.people import add_person
from server.app import Objects
from server.clock import as_text
from server.contract import SHOT_COLUMNS, SIGNALS
from server.demo_plant import LiveShots, PressHistory, press_history
from server.demo_scenario import DemoPress, Mold, Scenario, plant_scenario
from server.demo_work import do_work, put_shelf
from server.evaluate.press import evaluate_press
from server.ingest.batch import ReadBatch, ReadShot
from server.ingest.labels import Label
from server.landing import land
from server.record.baselines import capture_baseline
from server.record.events import record_event
from server.record.presses import configure_mold, configure_press
from server.record.settings import change_settings
from server.record.studies import keep_study
from server.record.valves import put_valve
from server.store import evaluation as landed
from server.store.database import Store
from server.store.plant import need_press

AUTHOR = "demo"


@dataclasses.dataclass(frozen=True)
class Poured:
    """What was put in: one-time passwords by login, and the presses that go on sending."""

    passwords: dict[str, str]
    shots: int


def pour(objects: Objects, *, until_ms: int) -> Poured:
    """Fill an empty database with the invented plant: people, presses, shots, records, scores."""
    scenario = plant_scenario()
    store = objects.store
    passwords = store.write(lambda connection: people_and_plant(connection, scenario, now_ms=until_ms))
    shots = 0
    with ProcessPoolExecutor(max_workers=2, mp_context=get_context("spawn")) as pool:
        histories = pool.map(_history, [(press, until_ms) for press in scenario.presses])
        for press, history in _shown(zip(scenario.presses, histories, strict=True), "shots", scenario):
            shots += pour_press(objects, press, history, now_ms=until_ms)
        press_ids = _press_ids(store, scenario)
        pieces = pool.map(_evaluate_whole, [(store.url, press_id) for press_id in press_ids])
        for _, evaluations in _shown(zip(press_ids, pieces, strict=True), "evaluated", scenario):
            for evaluation in evaluations:
                store.write(functools.partial(land, evaluation=evaluation, now_ms=until_ms))
    return Poured(passwords, shots)


def _shown(items: Any, what: str, scenario: Scenario) -> Any:
    return tqdm(items, total=len(scenario.presses), desc=f"presses, {what}", unit="press", leave=False)


def _history(asked: tuple[DemoPress, int]) -> PressHistory:
    press, until_ms = asked
    return press_history(plant_scenario(), press, until_ms=until_ms)


def _press_ids(store: Store, scenario: Scenario) -> list[int]:
    with store.read() as connection:
        return [need_press(connection, press.press).press_id for press in scenario.presses]


def _evaluate_whole(asked: tuple[str, int]) -> list[landed.Evaluation]:
    """Every shot of a press at once: nothing else writes yet."""
    url, press_id = asked
    store = Store(url)
    try:
        with store.read() as connection:
            one = evaluate_press(connection, press_id, piece=1 << 40)
        return [one] if one is not None else []
    finally:
        store.close()


def people_and_plant(connection: sa.Connection, scenario: Scenario, *, now_ms: int) -> dict[str, str]:
    """What stands before the first shot; one-time passwords by login."""
    change_settings(
        connection,
        {
            "plant_name": scenario.plant,
            "time_zone": scenario.time_zone,
            "valve_life_shots": scenario.valve_life_shots,
        },
        who=AUTHOR,
        now_ms=now_ms,
    )
    passwords = {}
    for person in scenario.people:
        welcome = add_person(
            connection,
            person.login,
            person.role,
            full_name=person.name,
            mail=person.mail,
            by=AUTHOR,
            now_ms=now_ms,
        )
        passwords[f"{person.login} ({person.role.replace('_', ' ')})"] = welcome.password
    for mold in scenario.molds:
        _mold(connection, mold, now_ms=now_ms)
    put_shelf(connection, scenario, who=AUTHOR, now_ms=now_ms)
    for press in scenario.presses:
        configure_press(connection, press.press, _configuration(press), who=AUTHOR, now_ms=now_ms)
    return passwords


def _mold(connection: sa.Connection, mold: Mold, *, now_ms: int) -> None:
    body = {
        "part": mold.part,
        "cavities": mold.cavities,
        "demand": {"ppk": 1.33, "text": mold.demand},
        "limits": {name: dict(limits) for name, limits in mold.limits.items()},
    }
    configure_mold(connection, mold.mold, body, who=AUTHOR, signals=SIGNALS, now_ms=now_ms)


def _configuration(press: DemoPress) -> dict[str, Any]:
    return {
        "name": press.name,
        "area": press.area,
        "screw_diameter_mm": press.model.machine.screw_diameter_mm,
        "valve_style": press.valve_style,
        "pressure_basis": "specific",
        "cushion_definition": press.model.machine.cushion_definition,
        "details": {"hours_a_day": press.hours_a_day},
    }


def _rows(press: DemoPress, columns: dict[str, Any]) -> list[ReadShot]:
    """Columns as read shots, in the store's order of fields; NaN is missing."""
    n = len(columns["at_ms"])
    label = Label(press.press, press.mold, press.material, None, None)
    values: list[list[Any]] = []
    for name in SHOT_COLUMNS:
        column = columns.get(name)
        if column is None:
            values.append([None] * n)
        elif column.dtype == object:
            values.append([one or None for one in column.tolist()])
        else:
            numbers: list[float] = column.tolist()
            values.append([None if one != one else one for one in numbers])
    at, counter = columns["at_ms"].tolist(), columns["counter"].tolist()
    return [
        ReadShot(row, label, at[row], counter[row], shot)
        for row, shot in enumerate(zip(*values, strict=True))
    ]


def pour_press(objects: Objects, press: DemoPress, history: PressHistory, *, now_ms: int) -> int:
    """The shots of a press and what people wrote down and did there; how many shots."""
    shots = _rows(press, history.columns)
    objects.pipeline.take_in(ReadBatch(len(shots), shots, []), accept_unknown=True, source="demo")
    objects.store.write(lambda connection: _records(connection, press, history, now_ms=now_ms))
    return len(shots)


def _records(connection: sa.Connection, press: DemoPress, history: PressHistory, *, now_ms: int) -> None:
    known = need_press(connection, press.press)
    found = ""
    for valve in history.valves:
        body = {
            "fitted_at": as_text(valve.from_ms),
            "style": valve.style,
            "shots_before": valve.shots_before,
            **({"found": found, "outcome": "failed"} if found else {}),
        }
        found = valve.found
        put_valve(connection, known, body, who=AUTHOR, now_ms=now_ms)
    for event in history.events:
        given = {
            "kind": event.kind,
            "at": as_text(event.at_ms),
            "setting": event.setting,
            "from": event.from_value,
            "to": event.to_value,
            "lot": event.lot,
            "note": event.note,
        }
        record_event(connection, known, {k: v for k, v in given.items() if v}, who=event.by, now_ms=now_ms)
    for study in history.studies:
        asked = {**study.asked, "press": press.press, "at": as_text(study.at_ms)}
        keep_study(connection, study.kind, asked, who="toolroom", now_ms=now_ms)
    capture_baseline(
        connection,
        known,
        {
            "mold": press.mold,
            "from": as_text(history.baseline_from_ms),
            "to": as_text(history.baseline_to_ms + 1),
            "approve": True,
            "note": "startup of the demo plant",
        },
        who=AUTHOR,
        now_ms=now_ms,
    )
    do_work(connection, known, history.work)


@contextlib.contextmanager
def trickling(objects: Objects, *, until_ms: int) -> Iterator[None]:
    """Live shots of the running demo presses, once a second, while the context lasts."""
    scenario = plant_scenario()
    stop = threading.Event()

    def loop() -> None:
        sources = [(one, LiveShots(scenario, one, until_ms=until_ms)) for one in scenario.presses if one.live]
        while not stop.wait(1.0):
            now_ms = objects.now_ms()
            for press, source in sources:
                _send(objects, press, source.due(now_ms))

    thread = threading.Thread(target=loop, name="ringtell-demo-shots", daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(timeout=5)


def _send(objects: Objects, press: DemoPress, rows: list[dict[str, Any]]) -> None:
    if not rows:
        return
    label = Label(press.press, press.mold, press.material, None, None)
    shots = [
        ReadShot(
            number,
            label,
            int(row["at_ms"]),
            int(row["counter"]),
            tuple(row.get(name) for name in SHOT_COLUMNS),
        )
        for number, row in enumerate(rows)
    ]
    # As if a press had sent them: they come live, and tell of its clock.
    objects.pipeline.take_in(ReadBatch(len(shots), shots, []), accept_unknown=True)


def data_folder(asked: str | None) -> Path:
    """The folder for the demo's database: the asked one, or a fresh one."""
    import tempfile

    if asked is None:
        return Path(tempfile.mkdtemp(prefix="ringtell-demo-"))
    folder = Path(asked)
    folder.mkdir(parents=True, exist_ok=True)
    return folder
