"""Families of resin, and which of them forbid closing a nozzle with a plug. Common practice, no source."""

import dataclasses
from typing import Final

from server.errors import InvalidError

#: How the way out is closed while the screw presses: the plug only where nothing else does.
METHODS: Final[dict[str, str]] = {
    "frozen_gate": "frozen gate, longer hold",
    "shut_gate": "shut valve gate",
    "rated_plug": "rated plug in the nozzle",
}


@dataclasses.dataclass(frozen=True)
class Resin:
    """A family of resins; `no_plug`: why its nozzle must never be blocked (empty: it may)."""

    id: str
    name: str
    no_plug: str = ""


_GAS = "it gives off gas when it decomposes, and a blocked nozzle then bursts"
RESINS: Final[dict[str, Resin]] = {
    one.id: one
    for one in (
        Resin("pe", "PE"),
        Resin("pp", "PP"),
        Resin("ps", "PS, HIPS"),
        Resin("abs", "ABS, SAN, ASA"),
        Resin("pc", "PC and its blends"),
        Resin("pmma", "PMMA"),
        Resin("pa", "PA"),
        Resin("pbt", "PBT, PET"),
        Resin("pps", "PPS, PPA, LCP"),
        Resin("tpe", "TPE, TPU"),
        Resin("pom", "POM", f"POM must never stand in a blocked nozzle: {_GAS}"),
        Resin("pvc", "PVC", f"PVC must never stand in a blocked nozzle: {_GAS}, with hydrogen chloride"),
        Resin("fluoro", "fluoropolymers", f"fluoropolymers must never stand in a blocked nozzle: {_GAS}"),
        Resin("cellulose", "CA, CAB, CAP", f"cellulosics must never stand in a blocked nozzle: {_GAS}"),
        Resin("halogen", "with halogen flame retardant", f"halogen flame retardants decompose: {_GAS}"),
        Resin("blowing", "with blowing agent", "a blowing agent makes gas, and a blocked nozzle bursts"),
        Resin("unknown", "another, or not known", "only a resin known not to gas may be shut in by a plug"),
    )
}


def check_method(method: str, *, resin: str) -> None:
    """InvalidError where a drift check may not be made this way with this resin; names the other way.

    >>> check_method("frozen_gate", resin="pom")
    >>> check_method("rated_plug", resin="pp")
    """
    if method not in METHODS:
        raise InvalidError(f"method is {method!r}; it has to be one of {', '.join(METHODS)}", field="method")
    if resin not in RESINS:
        raise InvalidError(f"resin is {resin!r}; it has to be one of {', '.join(RESINS)}", field="resin")
    reason = RESINS[resin].no_plug
    if method == "rated_plug" and reason:
        raise InvalidError(
            f"method 'rated_plug' is not allowed here: {reason}. Make the check against a frozen gate "
            "or a shut valve gate",
            field="method",
        )
