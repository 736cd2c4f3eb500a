"""Who and what stands in the invented plant: people, molds, presses, as `demo_data/plant.json` has them."""

import dataclasses
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from server.errors import NotFoundError
from server.settings import outside
from server.valve.press_model import Machine, Noise, PressModel, Process, Valve


@dataclasses.dataclass(frozen=True)
class Person:
    """login, name, mail under .example, role of contract.ROLES."""

    login: str
    name: str
    mail: str
    role: str


@dataclasses.dataclass(frozen=True)
class Mold:
    """limits: as in the contract, e.g. {"part_weight_g": {"lower", "upper", "target"}}."""

    mold: str
    part: str
    cavities: int
    material: str
    demand: str
    parts_per_box: int
    limits: Mapping[str, Mapping[str, float]]
    process: Mapping[str, float]


@dataclasses.dataclass(frozen=True)
class DemoPress:
    """A press of the scenario; `plan` is its raw entry in the file."""

    press: str
    name: str
    area: str
    mold: str
    material: str
    valve_style: str
    live: bool
    hours_a_day: float
    story_name: str
    hidden: str
    model: PressModel
    plan: Mapping[str, Any]


@dataclasses.dataclass(frozen=True)
class Scenario:
    """The whole plant. presses and molds in the order of the file.

    costs: settings by name. spares: as the API takes them. wear: how hard a material is on a valve.
    """

    plant: str
    time_zone: str
    days: int
    seed: int
    valve_life_shots: float
    costs: Mapping[str, Any]
    spares: tuple[Mapping[str, Any], ...]
    wear: Mapping[str, str]
    people: tuple[Person, ...]
    molds: tuple[Mold, ...]
    presses: tuple[DemoPress, ...]

    def press(self, code: str) -> DemoPress:
        """The press of a code; NotFoundError if there is none."""
        for one in self.presses:
            if one.press == code:
                return one
        raise NotFoundError(f"the demo plant has no press {code!r}", field="press")

    def mold(self, code: str) -> Mold:
        """The mold of a code; NotFoundError if there is none."""
        for one in self.molds:
            if one.mold == code:
                return one
        raise NotFoundError(f"the demo plant has no mold {code!r}", field="mold")


def plant_scenario(path: Path | None = None) -> Scenario:
    """Read the scenario; without a path the one that comes with the program."""
    text = (path or outside("demo_data") / "plant.json").read_text(encoding="utf-8")
    plan = json.loads(text)
    molds = tuple(_mold(entry) for entry in plan["molds"])
    material = {mold.mold: mold.material for mold in molds}
    process = {mold.mold: mold.process for mold in molds}
    return Scenario(
        plant=plan["plant"],
        time_zone=plan["time_zone"],
        days=plan["days"],
        seed=plan["seed"],
        valve_life_shots=plan["valve_life_shots"],
        costs=plan["costs"],
        spares=tuple(plan["spares"]),
        wear=plan["wear"],
        people=tuple(Person(**entry) for entry in plan["people"]),
        molds=molds,
        presses=tuple(
            _press(entry, material[entry["mold"]], process[entry["mold"]]) for entry in plan["presses"]
        ),
    )


def _mold(entry: Mapping[str, Any]) -> Mold:
    return Mold(
        mold=entry["mold"],
        part=entry["part"],
        cavities=entry["cavities"],
        material=entry["material"],
        demand=entry["demand"],
        parts_per_box=entry["parts_per_box"],
        limits=entry.get("limits", {}),
        process=entry["process"],
    )


def _press(entry: Mapping[str, Any], material: str, process: Mapping[str, float]) -> DemoPress:
    own = dict(process) | dict(entry.get("process", {}))
    return DemoPress(
        press=entry["press"],
        name=entry["name"],
        area=entry["area"],
        mold=entry["mold"],
        material=material,
        valve_style=entry["valve_style"],
        live=entry["live"],
        hours_a_day=entry["running"]["hours_a_day"],
        story_name=entry["story_name"],
        hidden=entry["hidden"],
        model=PressModel(
            machine=Machine(**entry["machine"]),
            process=Process(**own),  # type: ignore[arg-type]  # cavities is the only int
            valve=Valve(**entry["valve"]),
            noise=Noise(**entry["noise"]),
        ),
        plan=entry,
    )
