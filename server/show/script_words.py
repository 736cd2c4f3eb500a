"""What the scripts of pages say: they hold no words, pages hand them over in `data-say`, by key."""

import json
from collections.abc import Mapping
from typing import Final

from server import language
from server.language import N_

#: On every page.
EVERYWHERE: Final[Mapping[str, str]] = {
    "answered": N_("The server answered {status}."),
    "no_list": N_("The list could not be had: the server answered {status}."),
}
#: On the page of imports.
IMPORTING: Final[Mapping[str, str]] = {
    "long_file": N_("A long file"),
    "rows": N_("{count} rows"),
    "from_to": N_(", from {from} to {to} UTC"),
    "report_file": N_("a report file"),
    "set_apart": N_("cells set apart by {mark}"),
    "commas": N_("commas"),
    "semicolons": N_("semicolons"),
    "tabs": N_("tabs"),
    "bars": N_("bars"),
    "decimal_commas": N_("decimal commas"),
    "decimal_points": N_("decimal points"),
    "dates": N_("dates {order}"),
    "day_first": N_("day first"),
    "month_first": N_("month first"),
    "year_first": N_("year first"),
    "with_offset": N_("times with their offset"),
    "without_offset": N_("times without an offset"),
    "found": N_("Found: {facts}. {count} rows were looked at."),
    "all_presses": N_("all of them"),
    "rows_seen": N_("{press} ({count} rows seen)"),
    "read_as": N_("{name} is read as"),
    "unit_of": N_("Unit of {name}"),
    "injected": N_("what was injected, no shot size"),
    "same_columns": N_("{name} (same columns)"),
    "barrel_zones": N_("Barrel zones"),
    "own_numbers": N_("Own numbers"),
    "on_its_way": N_("{name} is on its way"),
    "not_reached": N_("The file did not reach the server; try again when there is a network."),
    "came_to": N_(
        "{stored} of {received} rows stored, {duplicate} were there already,"
        " {conflict} contradict a stored shot, {refused} refused."
    ),
    "looking": N_("Looking…"),
    "nothing_stored": N_("Nothing was stored."),
    "until_now": N_(" {stored} rows stored, {refused} refused."),
    "under_way": N_("{file}: {state}, {percent} %.{counts}"),
    "over": N_("{file}: {state}. {counts}"),
    "gone": N_("Its shots are gone."),
    "although": N_("People decided on these shots. Undo it all the same?"),
    "take_back": N_("Take back every shot that {file} brought?"),
}


def script_words(words: Mapping[str, str]) -> str:
    """JSON for a `data-say`, in the reader's language."""
    return json.dumps({key: language.say(text) for key, text in words.items()}, ensure_ascii=False)
