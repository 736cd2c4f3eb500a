"""Who acts, and what each role and each scope of a key may do."""

import dataclasses
from typing import Final, Literal

from server.errors import ForbiddenError, UnauthorizedError

Permission = Literal[
    "read",
    "ingest",
    "acknowledge",
    "record",
    "study",
    "baseline",
    "mold",
    "configure",
    "accept",
    "settings",
    "people",
]

_VIEW: Final[frozenset[str]] = frozenset({"read"})
_LINE: Final = _VIEW | {"acknowledge", "record", "study"}
_QUALITY: Final = _LINE | {"mold"}
_ENGINEER: Final = _QUALITY | {"ingest", "baseline", "configure", "accept", "settings"}

#: What each role may do.
ROLE_PERMISSIONS: Final[dict[str, frozenset[str]]] = {
    "viewer": _VIEW,
    "line_lead": _LINE,
    "quality_lead": _QUALITY,
    "plant_engineer": _ENGINEER,
    "administrator": _ENGINEER | {"people"},
}

#: What each scope of a device key may do. No key can manage people.
SCOPE_PERMISSIONS: Final[dict[str, frozenset[str]]] = {
    "ingest": frozenset({"ingest"}),
    "read": _VIEW,
    "act": _ENGINEER - {"read", "ingest"},
}


@dataclasses.dataclass(frozen=True)
class Actor:
    """Whoever sent a request. press: the only press a key is for, '' for all.

    `ticket` is the hash of the session or key token, to ask later whether it still holds.
    """

    name: str
    role: str
    kind: Literal["person", "key", "open", "nobody"]
    press: str = ""
    scopes: frozenset[str] = frozenset()
    must_change: bool = False
    ticket: bytes = dataclasses.field(default=b"", repr=False)


NOBODY: Final = Actor("", "", "nobody")
#: Everyone, where login is switched off.
OPEN: Final = Actor("open", "administrator", "open")


def permissions_of(actor: Actor) -> frozenset[str]:
    """Everything an actor may do, leaving aside for which press."""
    if actor.kind == "nobody":
        return frozenset()
    if actor.kind == "key":
        return frozenset().union(*(SCOPE_PERMISSIONS.get(scope, frozenset()) for scope in actor.scopes))
    return ROLE_PERMISSIONS.get(actor.role, frozenset())


def need(actor: Actor, permission: Permission, *, press: str | None = None) -> None:
    """Raise unless the actor may do this, to this press where one is concerned.

    A key for one press may do nothing that is not about that press.
    """
    if actor.kind == "nobody":
        raise UnauthorizedError("log in, or send Authorization: Bearer with a device key")
    if actor.must_change:
        raise ForbiddenError("the password was given out once; set your own with POST /api/v1/password first")
    if permission not in permissions_of(actor):
        raise ForbiddenError(_refusal(actor, permission))
    if actor.press and actor.press != press:
        about = "the whole plant" if press is None else f"press {press!r}"
        raise ForbiddenError(f"this key is for press {actor.press!r}, not for {about}", field="press")


def _refusal(actor: Actor, permission: str) -> str:
    if actor.kind == "key":
        able = [scope for scope, allowed in SCOPE_PERMISSIONS.items() if permission in allowed]
        needed = f"it needs a scope of {', '.join(able)}" if able else "no key may do it"
        return f"this key may not {permission}; {needed}"
    able = [role for role, allowed in ROLE_PERMISSIONS.items() if permission in allowed]
    return f"{actor.role} may not {permission}; ask one of: {', '.join(able)}"
