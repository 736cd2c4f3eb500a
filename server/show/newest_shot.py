"""The newest shot of a press in one line: that it is heard, and what it said."""

import dataclasses

import sqlalchemy as sa

from server.language import N_, _
from server.show.plant_words import Plant
from server.store.page_queries import Row
from server.store.shots import read_columns
from server.words.units import signal_text

_SAID = {
    "shot_size_mm": N_("shot size"),
    "cushion_mm": N_("cushion"),
    "peak_pressure_bar": N_("peak pressure"),
}


@dataclasses.dataclass(frozen=True)
class NewestShot:
    """`mark` is the press's own counter, for whoever waits for a shot to show."""

    mark: str
    text: str


def newest_shot(connection: sa.Connection, row: Row, plant: Plant) -> NewestShot | None:
    """None without shots."""
    columns = read_columns(connection, row["press_id"], names=tuple(_SAID), limit=1, newest=True)
    if len(columns["at_ms"]) == 0:
        return None
    said = [
        f"{word} {signal_text(signal, float(columns[signal][0]), plant.units)}"
        for signal, word in _SAID.items()
        if columns[signal][0] == columns[signal][0]
    ]
    counter = str(int(columns["counter"][0]))
    at_ms = int(columns["at_ms"][0])
    at = f"{plant.moment(at_ms)}:{plant.zone.local(at_ms):%S}"
    return NewestShot(
        counter,
        _("Newest shot {counter}, {at}", counter=counter, at=at) + (f": {', '.join(said)}." if said else "."),
    )
