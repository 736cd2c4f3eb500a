"""Words of the valve ledger."""

from collections.abc import Mapping
from typing import Final

from server.language import N_

OUTCOME: Final[Mapping[str, str]] = {
    "failed": N_("had failed"),
    "worn": N_("worn, still usable"),
    "good": N_("good"),
    "": N_("nobody has said"),
}
WEAR: Final[Mapping[str, str]] = {
    "mild": N_("mild: unfilled, kind to steel"),
    "some": N_("some: pigments, few fillers"),
    "strong": N_("strong: glass, minerals, metal, corrosive"),
}
#: Figures the plant enters: setting, label, what it is.
COSTS: Final = (
    ("currency", N_("Currency"), N_("As it is written behind figures.")),
    ("cost_change", N_("A planned change"), N_("Valve, work and restart at a planned stop.")),
    (
        "cost_needless_pull",
        N_("A needless pull"),
        N_("Work and restart; the valve turns out good and goes back."),
    ),
    ("cost_failure", N_("A failure"), N_("An unplanned stop with its change and what it delays.")),
    ("cost_scrap_per_1000", N_("Scrap per 1,000 shots"), N_("Of a press whose valve leaks.")),
    (
        "shots_between_stops",
        N_("Shots between planned stops"),
        N_("So long a press runs on when this stop passes."),
    ),
)
