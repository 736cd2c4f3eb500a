"""Families of resin, and which of them forbid closing a nozzle with a plug. Common practice, no source."""

import dataclasses
from typing import Final

from server.errors import InvalidError
from server.language import N_

#: How the way out is closed while the screw presses: the plug only where nothing else does.
METHODS: Final[dict[str, str]] = {
    "frozen_gate": N_("frozen gate, longer hold"),
    "shut_gate": N_("shut valve gate"),
    "rated_plug": N_("rated plug in the nozzle"),
}


@dataclasses.dataclass(frozen=True)
class Resin:
    """A family of resins; `no_plug`: why its nozzle must never be blocked (empty: it may)."""

    id: str
    name: str
    no_plug: str = ""


_GAS = N_("it gives off gas when it decomposes, and a blocked nozzle then bursts")
RESINS: Final[dict[str, Resin]] = {
    one.id: one
    for one in (
        Resin("pe", "PE"),
        Resin("pp", "PP"),
        Resin("ps", N_("PS, HIPS")),
        Resin("abs", N_("ABS, SAN, ASA")),
        Resin("pc", N_("PC and its blends")),
        Resin("pmma", "PMMA"),
        Resin("pa", "PA"),
        Resin("pbt", N_("PBT, PET")),
        Resin("pps", N_("PPS, PPA, LCP")),
        Resin("tpe", N_("TPE, TPU")),
        Resin("pom", "POM", f"POM must never stand in a blocked nozzle: {_GAS}"),
        Resin("pvc", "PVC", f"PVC must never stand in a blocked nozzle: {_GAS}, with hydrogen chloride"),
        Resin("fluoro", N_("fluoropolymers"), f"fluoropolymers must never stand in a blocked nozzle: {_GAS}"),
        Resin("cellulose", N_("CA, CAB, CAP"), f"cellulosics must never stand in a blocked nozzle: {_GAS}"),
        Resin("halogen", N_("with halogen flame retardant"), f"halogen flame retardants decompose: {_GAS}"),
        Resin(
            "blowing", N_("with blowing agent"), N_("a blowing agent makes gas, and a blocked nozzle bursts")
        ),
        Resin(
            "unknown",
            N_("another, or not known"),
            N_("only a resin known not to gas may be shut in by a plug"),
        ),
    )
}


def check_method(method: str, *, resin: str) -> None:
    """InvalidError where a drift check may not be made this way with this resin; names the other way.

    >>> check_method("frozen_gate", resin="pom")
    >>> check_method("rated_plug", resin="pp")
    """
    if method not in METHODS:
        raise InvalidError(
            N_("method is {method!r}; it has to be one of {join}", method=method, join=", ".join(METHODS)),
            field="method",
        )
    if resin not in RESINS:
        raise InvalidError(
            N_("resin is {resin!r}; it has to be one of {join}", resin=resin, join=", ".join(RESINS)),
            field="resin",
        )
    reason = RESINS[resin].no_plug
    if method == "rated_plug" and reason:
        raise InvalidError(
            N_(
                "method 'rated_plug' is not allowed here: {reason}. Make the check against a frozen"
                " gate or a shut valve gate",
                reason=reason,
            ),
            field="method",
        )
