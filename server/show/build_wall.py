"""The plant for a screen nobody touches: what is not as usual in large type, the rest as quiet codes."""

import dataclasses
import math
from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from server.language import _, plural
from server.show.build_plant import Known, Wanted, known_presses, plant_answer, press_row
from server.show.frame import Frame
from server.show.pages import PressRow, Urgency
from server.show.plant_words import Plant
from server.show.press_words import urgency_mark
from server.store.containments import held_lines
from server.store.first_run import records_without_shots
from server.store.page_queries import baselines_in_force, mold_parts, shots_lately, waiting_presses
from server.words.numbers import count_word, percent, whole
from server.words.times import MINUTE, span

#: The screen is 67.5 rem high, wall.css sees to that; this is what its head and its edges leave.
SPACE_REM: Final = 53.0
#: Heights of a row of two presses in large type with room, and without; of a row of codes; of a line.
ROOMY_REM, ROW_REM, CELLS_REM, LINE_REM = 13.5, 7.5, 3.2, 3.0
COLUMNS: Final = 8
#: Codes shown at most; the others are counted.
CELLS_MOST: Final = 60
_LOUD: Final = ("unusual", "watch", "silent")
_ORDER: Final = (*_LOUD, "unknown", "quiet")


@dataclasses.dataclass(frozen=True)
class WallCell:
    """A press as its code, with a word beside it where it needs one."""

    press: str
    mood: str
    text: str
    urgency: Urgency | None = None


@dataclasses.dataclass(frozen=True)
class WallPage:
    """`rows` in large type, the loudest first; `cells` the others; `more_text` counts what has no place."""

    frame: Frame
    answer: str
    under: str
    rows: tuple[PressRow, ...]
    cells: tuple[WallCell, ...]
    cells_text: str
    more_text: str
    #: Parts that are held, presses that wait to be taken in.
    notes: tuple[str, ...] = ()
    #: The large rows have room for their picture below.
    roomy: bool = True


def build_wall(connection: sa.Connection, plant: Plant, *, wanted: Wanted) -> WallPage:
    shown = sorted((one for one in known_presses(connection, plant) if one.fits(wanted)), key=_loudness)
    loud = sum(one.mood in _LOUD for one in shown)
    notes = _notes(held_lines(connection), waiting_presses(connection))
    large, roomy = rows_that_fit(loud, len(shown), notes=len(notes))
    cells = shown[large : large + CELLS_MOST]
    records, parts = baselines_in_force(connection), mold_parts(connection)
    holding = records_without_shots(connection)
    lately = shots_lately(connection, since_ms=plant.now_ms - 10 * MINUTE)
    return WallPage(
        frame=plant.frame(_("Plant"), active="/wall"),
        answer=plant_answer([one.urgency for one in shown], [one.mood for one in shown]),
        under=_under(wanted, plant, lately),
        rows=tuple(
            press_row(connection, one, records.get(one.row["press_id"]), parts, plant, holding)
            for one in shown[:large]
        ),
        cells=tuple(_cell(one, plant) for one in cells),
        cells_text=_cells_text(cells, large),
        more_text=more_text([one.mood for one in shown[large + CELLS_MOST :]]),
        notes=notes,
        roomy=roomy,
    )


def rows_that_fit(loud: int, total: int, *, notes: int = 0) -> tuple[int, bool]:
    """How many presses stand in large type, so that everything fits one screen, and whether with room.

    >>> rows_that_fit(0, 60), rows_that_fit(5, 14), rows_that_fit(12, 60), rows_that_fit(60, 60)
    ((0, True), (5, True), (6, False), (6, False))
    """
    for rows in range(loud, 0, -1):
        cells = min(total - rows, CELLS_MOST)
        line = LINE_REM if cells else 0.0
        others = line + math.ceil(cells / COLUMNS) * CELLS_REM + notes * LINE_REM
        for height, roomy in ((ROOMY_REM, True), (ROW_REM, False)):
            if (rows == loud or not roomy) and math.ceil(rows / 2) * height + others <= SPACE_REM:
                return rows, roomy
    return 0, True


def _loudness(one: Known) -> tuple[int, float, str]:
    return _ORDER.index(one.mood), -one.rank, one.row["press"]


def _under(wanted: Wanted, plant: Plant, lately: int) -> str:
    where = " · ".join(part for part in (plant.name, wanted.area, wanted.mold) if part)
    shots = _("{lately} shots in the last 10 min", lately=whole(lately))
    return " · ".join(part for part in (where, plant.zone.clock_with_zone(plant.now_ms), shots) if part)


def _cell(one: Known, plant: Plant) -> WallCell:
    share = percent(one.judgement.likelihood, short=True)
    quiet_for = span(plant.now_ms - one.row["last_shot_ms"]) if one.silent else ""
    return WallCell(
        press=one.row["press"],
        mood=one.mood,
        text=_("silent {span}", span=quiet_for) if one.silent else share,
        urgency=urgency_mark(one.urgency) if one.urgency else None,
    )


def _cells_text(cells: Sequence[Known], large: int) -> str:
    """What the codes are; nothing where there are none."""
    if not cells:
        return ""
    moods = {one.mood for one in cells}
    if moods & set(_LOUD):
        return _("The others, the loudest first")
    if moods == {"quiet"}:
        return _("Quiet") if large else ""
    return _("Quiet or not judged yet")


def more_text(moods: Sequence[str]) -> str:
    """The presses that have no place on the screen.

    >>> more_text(["quiet"] * 4), more_text(["watch", "quiet"]), more_text([])
    ('And four presses more, all of them quiet.', 'And two presses more, one of them not as usual.', '')
    """
    if not moods:
        return ""
    many = count_word(len(moods))
    noun = plural(len(moods), "press", "presses")
    loud = sum(mood in _LOUD for mood in moods)
    if loud:
        some = count_word(loud)
        return _("And {many} {noun} more, {some} of them not as usual.", many=many, noun=noun, some=some)
    if all(mood == "quiet" for mood in moods):
        return _("And {many} {noun} more, all of them quiet.", many=many, noun=noun)
    return _("And {many} {noun} more, quiet or not judged yet.", many=many, noun=noun)


def _notes(held: Sequence[str], waiting: Sequence[str]) -> tuple[str, ...]:
    notes = []
    if held:
        notes.append(_("Parts are held: {lines}.", lines="; ".join(held)))
    if waiting:
        codes = ", ".join(waiting)
        notes.append(_("Not in the plant yet, and sending shots: {codes}.", codes=codes))
    return tuple(notes)
