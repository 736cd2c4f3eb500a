"""The way from an empty plant to its first judged press: what is done, and the one next thing to do."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Final, Literal
from urllib.parse import quote

import sqlalchemy as sa

from server.language import N_, _
from server.show.plant_words import Plant, press_href
from server.store.first_run import any_record_approved, waiting_records
from server.store.page_queries import Row, accepted_presses, waiting_presses
from server.words.catalogue import ROLE, worded

Place = Literal["plant", "press", "import", "records"]
StepId = Literal["press", "shots", "record", "approval"]
#: The permission a step needs, and the lowest role that has it.
_NEEDS: Final[Mapping[StepId, tuple[str, str]]] = {
    "press": ("configure", "plant_engineer"),
    "shots": ("ingest", "plant_engineer"),
    "record": ("baseline", "plant_engineer"),
    "approval": ("baseline", "plant_engineer"),
}
_TEXT: Final[Mapping[StepId, str]] = {
    "press": N_("Put a press into the plant"),
    "shots": N_("Bring its shots in"),
    "record": N_("Read its chart and capture a startup record"),
    "approval": N_("Approve the record"),
}
_WHY: Final[Mapping[StepId, str]] = {
    "press": N_("A press that reports by itself, or is named in a file, turns up here and needs no adding."),
    "shots": N_("From a file to begin with; later the press, a gateway or a folder sends them by itself."),
    "record": N_(
        "It keeps what good shots of this press look like: some 200, settled, with good parts."
        " What comes after them is compared with them: of a file, take a stretch near its beginning."
    ),
    "approval": N_(
        "Somebody says with a reason that these shots were good. From then on the press is judged."
    ),
}

#: Where the page itself is the door.
_HERE: Final[Mapping[tuple[Place, StepId], str]] = {
    ("import", "press"): N_(
        "Choose the file below. A press it names, or that you write beside it, is taken in."
    ),
    ("import", "shots"): N_("Choose the file below."),
    ("records", "approval"): N_(
        "Read what it came to, write down why it may be approved, and approve it below."
    ),
}


@dataclasses.dataclass(frozen=True)
class FirstStep:
    """`done_text` says what is there already; empty: it is still to do."""

    id: StepId
    text: str
    why: str
    done_text: str = ""


@dataclasses.dataclass(frozen=True)
class FirstSteps:
    """The steps, the one that is next, and its door: an address with its word, the form that adds a press, or
    what `here_text` says of this page.

    waiting: presses that report and are not in the plant yet. refused_text: who does it instead.
    """

    steps: tuple[FirstStep, ...]
    next_id: StepId
    href: str = ""
    action: str = ""
    here_text: str = ""
    waiting: tuple[str, ...] = ()
    refused_text: str = ""


@dataclasses.dataclass(frozen=True)
class Begun:
    """How far the plant has come. press: the one that is furthest, or the one that was asked for."""

    press: str = ""
    has_shots: bool = False
    record_no: int | None = None

    @property
    def next_id(self) -> StepId:
        if not self.press:
            return "press"
        if not self.has_shots:
            return "shots"
        return "record" if self.record_no is None else "approval"


def first_steps(
    connection: sa.Connection, plant: Plant, *, place: Place, press: str = ""
) -> FirstSteps | None:
    """None once a startup record was ever approved, or where `press` is not in the plant."""
    if any_record_approved(connection):
        return None
    presses = accepted_presses(connection)
    if press:
        presses = [row for row in presses if row["press"] == press]
    begun = how_far(presses, waiting_records(connection))
    if press and not begun.press:
        return None
    step = begun.next_id
    permission, role = _NEEDS[step]
    may = permission in plant.actor.may
    href, action = _door(begun, place) if may and (place, step) not in _HERE else ("", "")
    refused = "" if may else _("Somebody with the role {role} does this next.", role=worded(ROLE, role))
    return FirstSteps(
        steps=tuple(FirstStep(one, _TEXT[one], _WHY[one], said) for one, said in _done(begun).items()),
        next_id=step,
        href=href,
        action=action,
        here_text=_HERE.get((place, step), ""),
        waiting=tuple(waiting_presses(connection)) if step == "press" else (),
        refused_text=refused,
    )


def how_far(presses: Sequence[Row], waiting: Mapping[int, int]) -> Begun:
    """The press that is furthest: with a record that waits, then with shots, then the first by code."""

    def reached(row: Row) -> tuple[bool, bool]:
        return row["press_id"] in waiting, row["last_shot_ms"] is not None

    if not presses:
        return Begun()
    first = max(presses, key=reached)
    return Begun(first["press"], first["last_shot_ms"] is not None, waiting.get(first["press_id"]))


def _done(begun: Begun) -> dict[StepId, str]:
    """What is there of each step; empty: nothing yet."""
    return {
        "press": _("{press} is in the plant.", press=begun.press) if begun.press else "",
        "shots": _("{press} has shots.", press=begun.press) if begun.has_shots else "",
        "record": ""
        if begun.record_no is None
        else _("Record {number} is captured.", number=begun.record_no),
        "approval": "",
    }


def _door(begun: Begun, place: Place) -> tuple[str, str]:
    """Where the next step is done, and the word of the button that leads there."""
    press, at = begun.press, press_href(begun.press)
    match begun.next_id:
        case "press":
            return "", ""
        case "shots":
            return f"/import?press={quote(press, safe='')}", _("Import a file")
        case "record":
            if place in ("plant", "import"):
                return at, _("Open the chart of {press}", press=press)
            return f"{at}/baselines#capture", _("Capture a startup record")
        case _:
            number = begun.record_no
            return f"{at}/baselines#b-{number}", _("Look at record {number}", number=number)
