"""What every page builder needs of the plant: its settings as words' tools, and codes in addresses."""

import dataclasses
from collections.abc import Callable
from typing import Any, Final
from urllib.parse import quote

import sqlalchemy as sa

from server.show.frame import Actor, Frame, frame
from server.store.plant import read_settings
from server.words.shifts import Shift, shift_at
from server.words.times import Zone
from server.words.units import Units

#: Alarms that make a press's parts suspect.
SUSPECT_KINDS: Final = ("leak", "bottoming")


@dataclasses.dataclass(frozen=True)
class Plant:
    """The plant as pages see it, at one moment, for one person."""

    settings: dict[str, Any]
    units: Units
    zone: Zone
    now_ms: int
    actor: Actor

    @property
    def name(self) -> str:
        return str(self.settings["plant_name"])

    def frame(self, title: str, *, active: str, note: str = "") -> Frame:
        return frame(
            title,
            active=active,
            plant_name=self.name,
            zone=self.zone,
            now_ms=self.now_ms,
            actor=self.actor,
            note=note,
            lock_after_s=int(float(self.settings["lock_after_min"]) * 60),
            units=self.units,
        )

    def shift(self) -> Shift:
        return shift_at(self.now_ms, starts=self.settings["shifts"], zone=self.zone)

    def moment(self, at_ms: int | None) -> str:
        return self.zone.moment(at_ms, self.now_ms)

    def day(self, at_ms: int) -> str:
        return self.zone.day(at_ms, self.now_ms)


def plant_at(connection: sa.Connection, *, now_ms: int, actor: Actor) -> Plant:
    settings = read_settings(connection)
    return Plant(
        settings=settings,
        units=Units.chosen({**settings["units"], **actor.units}),
        zone=Zone(str(settings["time_zone"])),
        now_ms=now_ms,
        actor=actor,
    )


@dataclasses.dataclass(frozen=True)
class Since:
    """When a leak began: the likeliest moment, and the interval it lies in (95 %)."""

    at_ms: int
    from_ms: int
    to_ms: int


#: Tells since when a press (by code) leaks; None where that cannot be said.
SinceOf = Callable[[str], Since | None]


def unknown_since(_press: str) -> Since | None:
    """For pages built where nobody estimates an onset."""
    return None


def press_href(press: str) -> str:
    """
    >>> press_href("Q 01 ä+b")
    '/presses/Q%2001%20%C3%A4%2Bb'
    """
    return f"/presses/{quote(press, safe='')}"


def mold_href(mold: str) -> str:
    return f"/molds/{quote(mold, safe='')}"


def press_api(press: str) -> str:
    return f"/api/v1/presses/{quote(press, safe='')}"


def case_href(press: str, number: int) -> str:
    """
    >>> case_href("P07", 2)
    '/cases/P07/2'
    """
    return f"/cases/{quote(press, safe='')}/{number}"


def trial_href(press: str, number: int) -> str:
    return f"/trials/{quote(press, safe='')}/{number}"
