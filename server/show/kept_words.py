"""What a press's page says of its shots: which wait, which were set aside, which are thinned out."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from server.language import _
from server.show.plant_words import Plant
from server.store.page_queries import shots_waiting
from server.store.poison import set_aside_of
from server.store.thinning import floor_of
from server.words.numbers import whole

#: Fewer waiting shots are no news: they are judged within seconds.
WAITING_SHOWN = 200


def kept_words(connection: sa.Connection, plant: Plant, row: Mapping[str, Any]) -> str:
    """Sentences in order of weight; '' when all is as it should be."""
    said = []
    if row["trouble"]:
        said.append(
            _(
                "Shots of this press cannot be judged: {trouble}. They are kept and tried again.",
                trouble=row["trouble"],
            )
        )
    count, why = set_aside_of(connection, row["press"])
    if count:
        them = _("1 shot was") if count == 1 else _("{count} shots were", count=whole(count))
        said.append(
            _(
                "{them} set aside because judging failed; the others are judged. Newest: {why}. Once"
                " the cause is mended: ringtell db take-back --press {press}",
                them=them,
                why=why,
                press=row["press"],
            )
        )
    waiting = shots_waiting(connection, row["press_id"])
    if waiting > WAITING_SHOWN:
        said.append(_("{waiting} shots are waiting to be judged.", waiting=whole(waiting)))
    floor = floor_of(connection, row["press_id"])
    if floor is not None:
        day = plant.zone.day(floor.floor_ms, plant.now_ms)
        said.append(
            _(
                "Before {day} single shots are thinned out: ten-minute summaries, scores and findings"
                " remain.",
                day=day,
            )
        )
    return " ".join(said)
