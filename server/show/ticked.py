"""Steps of the guidance as somebody has ticked them on a press: by whom, when."""

import dataclasses
from collections.abc import Sequence

import sqlalchemy as sa

from server.show.pages import StepRow
from server.show.plant_words import Plant
from server.store import floor


def with_ticks(
    connection: sa.Connection, press_id: int, rows: Sequence[StepRow], plant: Plant
) -> tuple[StepRow, ...]:
    """The steps with their ticks."""
    ticks = floor.ticks_of(connection, press_id)
    done = {step: tick for step, tick in ticks.items() if tick.ticked}
    return tuple(
        dataclasses.replace(
            row, ticked=True, ticked_text=f"{done[row.id].who}, {plant.moment(done[row.id].at_ms)}"
        )
        if row.id in done
        else row
        for row in rows
    )
