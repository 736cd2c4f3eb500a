"""Words of the valve ledger."""

from collections.abc import Mapping
from typing import Final

OUTCOME: Final[Mapping[str, str]] = {
    "failed": "had failed",
    "worn": "worn, still usable",
    "good": "good",
    "": "nobody has said",
}
WEAR: Final[Mapping[str, str]] = {
    "mild": "mild: unfilled, kind to steel",
    "some": "some: pigments, few fillers",
    "strong": "strong: glass, minerals, metal, corrosive",
}
#: Figures the plant enters: setting, label, what it is.
COSTS: Final = (
    ("currency", "Currency", "As it is written behind figures."),
    ("cost_change", "A planned change", "Valve, work and restart at a planned stop."),
    ("cost_needless_pull", "A needless pull", "Work and restart; the valve turns out good and goes back."),
    ("cost_failure", "A failure", "An unplanned stop with its change and what it delays."),
    ("cost_scrap_per_1000", "Scrap per 1,000 shots", "Of a press whose valve leaks."),
    ("shots_between_stops", "Shots between planned stops", "So long a press runs on when this stop passes."),
)
