"""What each command does. Reports go to standard output through `say`, never with a traceback."""

import argparse
import contextlib
import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa
from tqdm import tqdm

from server import demo as demo_plant
from server import rebuild
from server.access.people import add_person
from server.app import Objects, build_objects
from server.clock import as_text, now_ms
from server.errors import UsageError
from server.record.fields import read_time
from server.say import say as say
from server.serving import run
from server.settings import Settings
from server.store import engine
from server.store.database import Store
from server.store.plant import all_presses, need_press
from server.valve.press_model import Effect, PressModel
from server.valve.press_sim import as_logged, shot_times
from server.valve.press_sim import simulate as run_press

#: What `ringtell simulate` can hide in its shots: the effect, its size, and how slowly it comes.
STORIES: dict[str, tuple[str, float, bool]] = {
    "healthy": ("", 0.0, False),
    "erratic_closing": ("late_share", 0.08, False),
    "steady_leak": ("gap_growth", 1.5, True),
    "not_closing": ("unshut", 0.3, False),
    "uneven_melt": ("melt_unevenness", 0.6, False),
    "metering": ("metering_scatter", 3.0, False),
    "worn_screw": ("screw_wear", 0.15, True),
    "viscosity_shift": ("viscosity", -0.12, False),
    "setting_change": ("hold_bar", 80.0, False),
    "position_reference": ("reference_mm", 0.8, False),
    "flash": ("flash", 0.01, False),
    "blocked_cavity": ("blocked", 0.25, False),
    "outward_leak": ("outward", 0.015, False),
}


def needs_act(given: argparse.Namespace) -> None:
    raise UsageError(f"name an act (see {given.prog} --help)")


def _objects(settings: Settings) -> Objects:
    engine.upgrade(settings.direct_url)
    return build_objects(settings)


@contextlib.contextmanager
def _store() -> Any:
    settings = Settings.from_environment()
    engine.upgrade(settings.direct_url)
    store = Store(settings.database_url)
    try:
        yield store
    finally:
        store.close()


# --- serving --------------------------------------------------------------------------------


def demo(given: argparse.Namespace) -> None:
    """An invented plant in a database of its own, or an empty one."""
    folder = demo_plant.data_folder(given.data)
    file = folder / "ringtell.db"
    fresh = not file.exists()
    settings = Settings(
        database_url=f"sqlite:///{file}",
        port=given.port,
        no_login=given.no_login,
        accept_unknown=given.no_login,
    )
    objects = _objects(settings)
    started_ms = now_ms()
    if fresh and not given.empty:
        poured = demo_plant.pour(objects, until_ms=started_ms)
        (folder / "opened_ms").write_text(str(started_ms))
        say(f"The invented plant is in {file}: {poured.shots:,} shots.")
        _show_passwords(poured.passwords)
    elif fresh and not given.no_login:
        _show_passwords(objects.store.write(lambda connection: _first_person(connection)))
    say(f"Ringtell answers at http://127.0.0.1:{given.port}/  (Ctrl-C stops it)")
    opened = folder / "opened_ms"
    trickle: Any = contextlib.nullcontext()
    if not given.no_live and opened.exists():
        trickle = demo_plant.trickling(objects, until_ms=int(opened.read_text()))
    with trickle:
        run(objects)


def _first_person(connection: sa.Connection) -> dict[str, str]:
    welcome = add_person(connection, "admin", "administrator", by="ringtell", now_ms=now_ms())
    return {"admin (administrator)": welcome.password}


def _show_passwords(passwords: dict[str, str]) -> None:
    say("One-time passwords, changed at the first login:")
    for person, password in passwords.items():
        say(f"  {person:32} {password}")


def serve(given: argparse.Namespace) -> None:
    """The production server."""
    changes = {name: value for name in ("host", "port") if (value := getattr(given, name)) is not None}
    settings = Settings.from_environment().with_changes(**changes)
    objects = _objects(settings)
    say(f"Ringtell answers at http://{settings.host}:{settings.port}/")
    run(objects)


# --- shots ----------------------------------------------------------------------------------


def simulate(given: argparse.Namespace) -> None:
    """Shots of a simulated press into a CSV file that `import` and the API take; the truth beside it."""
    if not 10 <= given.shots <= 5_000_000:
        raise UsageError(f"--shots {given.shots}: 10 to 5,000,000")
    kind, size, slow = STORIES[given.story]
    onset = given.shots // 2
    story = [Effect(kind, onset, size, ramp=onset if slow else 0)] if kind else []
    start_ms = read_time("--start", given.start, now_ms=now_ms())
    model = PressModel()
    times = shot_times(given.shots, model=model, start_ms=start_ms, seed=given.seed)
    shots = as_logged(
        run_press(model, at_ms=times, seed=given.seed, story=story), model=model, seed=given.seed
    )
    target = Path(given.file)
    at = [as_text(one) for one in shots.columns["at_ms"].tolist()]
    fixed = {"press": [given.press] * len(at), "mold": [given.mold] * len(at), "at": at}
    _write_csv(target, fixed | {n: c for n, c in shots.columns.items() if n != "at_ms"})
    truth = target.with_name(target.name + ".truth.csv")
    _write_csv(truth, {"counter": shots.columns["counter"], **shots.truth})
    say(f"{len(at):,} shots in {target}; the truth in {truth}")


def _write_csv(target: Path, columns: dict[str, Any]) -> None:
    texts = [column.tolist() if isinstance(column, np.ndarray) else column for column in columns.values()]
    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        for row in zip(*texts, strict=True):
            writer.writerow(["" if one != one else one for one in row])


def evaluate(given: argparse.Namespace) -> None:
    """Everything computed from the shots, computed again, on every core or a scheduler's workers."""
    settings = Settings.from_environment()
    workers = given.workers or rebuild.local_workers()
    if not 1 <= workers <= 1_000:
        raise UsageError(f"--workers {workers}: 1 to 1,000")
    engine.upgrade(settings.direct_url)
    objects = build_objects(settings, workers=workers, scheduler=given.scheduler)
    try:
        with objects.store.read() as connection:
            presses = [need_press(connection, code) for code in given.press] or all_presses(connection)
        begun = rebuild.begin(objects.store, presses, now_ms=now_ms(), afresh=given.afresh)
        if begun.goes_on:
            say(f"going on with one that was cut short: {begun.shots:,} shots left (--afresh: all of it)")
        with tqdm(total=begun.shots, desc=f"{len(begun.press_ids)} presses", unit="shot") as bar:
            rebuild.run(objects.pipeline, begun, workers=workers, report=bar.update)
    finally:
        objects.pipeline.close()
        objects.store.close()
    say(f"{len(begun.press_ids)} presses evaluated again")


# --- people and keys ------------------------------------------------------------------------


def user_add(given: argparse.Namespace) -> None:
    with _store() as store:
        welcome = store.write(
            lambda connection: add_person(
                connection, given.name, given.role, by="command line", now_ms=now_ms()
            )
        )
    say(json.dumps({"name": welcome.name, "role": welcome.role, "one_time_password": welcome.password}))
