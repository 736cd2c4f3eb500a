"""Who acts, and the one table of what each role and each scope of a key may do."""

import dataclasses
from collections.abc import Mapping
from typing import Final, Literal, get_args

from server.errors import ForbiddenError, UnauthorizedError
from server.language import N_

Permission = Literal[
    "read",
    "acknowledge",
    "shelve",
    "record",
    "study",
    "mold",
    "audit",
    "out_of_service",
    "ingest",
    "baseline",
    "configure",
    "accept",
    "settings",
    "keys",
    "people",
]

#: Roles from the one that may least; each may what the ones before it may.
_RANKS: Final = ("viewer", "line_lead", "quality_lead", "plant_engineer", "administrator")

#: The table: from which role on a person may it, and which scope of a device key may it too.
PERMISSIONS: Final[dict[Permission, tuple[str, str | None]]] = {
    "read": ("viewer", "read"),
    "acknowledge": ("line_lead", "act"),
    "shelve": ("line_lead", "act"),
    "record": ("line_lead", "act"),
    "study": ("line_lead", "act"),
    # Drawing limits of a part.
    "mold": ("quality_lead", "act"),
    "audit": ("quality_lead", None),
    "out_of_service": ("plant_engineer", "act"),
    # Shots over the API and files on the import page.
    "ingest": ("plant_engineer", "ingest"),
    "baseline": ("plant_engineer", "act"),
    "configure": ("plant_engineer", "act"),
    "accept": ("plant_engineer", "act"),
    "settings": ("plant_engineer", "act"),
    "keys": ("plant_engineer", None),
    "people": ("administrator", None),
}

#: What each role may do, read from the table.
ROLE_PERMISSIONS: Final[dict[str, frozenset[str]]] = {
    role: frozenset(
        permission for permission, (first, _) in PERMISSIONS.items() if _RANKS.index(first) <= rank
    )
    for rank, role in enumerate(_RANKS)
}

#: What each scope of a device key may do, read from the table. No key manages people or keys.
SCOPE_PERMISSIONS: Final[dict[str, frozenset[str]]] = {
    scope: frozenset(permission for permission, (_, able) in PERMISSIONS.items() if able == scope)
    for scope in ("ingest", "read", "act")
}

#: What the short number on a shared tablet opens, whatever the role: the rest needs the password.
PIN_PERMISSIONS: Final[frozenset[str]] = ROLE_PERMISSIONS["line_lead"]

ALL_PERMISSIONS: Final[tuple[Permission, ...]] = get_args(Permission)


@dataclasses.dataclass(frozen=True)
class Actor:
    """Whoever sent a request. press: the only press a key is for, '' for all.

    `ticket` is the hash of the session or key token, to ask later whether it still holds. areas: where
    a person may act; empty: everywhere. presses: the presses of those areas, None for all.
    """

    name: str
    role: str
    kind: Literal["person", "key", "open", "nobody"]
    press: str = ""
    scopes: frozenset[str] = frozenset()
    must_change: bool = False
    ticket: bytes = dataclasses.field(default=b"", repr=False)
    areas: tuple[str, ...] = ()
    presses: frozenset[str] | None = None
    by_pin: bool = False
    tablet_id: int | None = None
    #: How this person reads: units by quantity where they are not the plant's, and a language or ''.
    units: Mapping[str, str] = dataclasses.field(default_factory=dict, hash=False, compare=False)
    language: str = ""


NOBODY: Final = Actor("", "", "nobody")
#: Everyone, where login is switched off; what they do is signed with these words.
OPEN: Final = Actor(N_("no login"), "administrator", "open")


def permissions_of(actor: Actor) -> frozenset[str]:
    """Everything an actor may do, leaving aside for which press."""
    if actor.kind == "nobody":
        return frozenset()
    if actor.kind == "key":
        return frozenset().union(*(SCOPE_PERMISSIONS.get(scope, frozenset()) for scope in actor.scopes))
    allowed = ROLE_PERMISSIONS.get(actor.role, frozenset())
    return allowed & PIN_PERMISSIONS if actor.by_pin else allowed


def need(actor: Actor, permission: Permission, *, press: str | None = None) -> None:
    """Raise unless the actor may do this, to this press where one is concerned.

    A key for one press may do nothing that is not about that press. A person with areas may see the
    whole plant, and act only on presses there.
    """
    if actor.kind == "nobody":
        raise UnauthorizedError(N_("log in, or send Authorization: Bearer with a device key"))
    if actor.must_change:
        raise ForbiddenError(
            N_("the password was given out once; set your own with POST /api/v1/password first")
        )
    if permission not in permissions_of(actor):
        raise ForbiddenError(_refusal(actor, permission))
    about = "the whole plant" if press is None else f"press {press!r}"
    if actor.press and actor.press != press:
        raise ForbiddenError(
            N_("this key is for press {press!r}, not for {about}", press=actor.press, about=about),
            field="press",
        )
    if permission != "read" and actor.presses is not None and press not in actor.presses:
        areas = ", ".join(actor.areas)
        raise ForbiddenError(
            N_("{name} acts in {areas} only, not on {about}", name=actor.name, areas=areas, about=about),
            field="press",
        )


def _refusal(actor: Actor, permission: Permission) -> str:
    first, scope = PERMISSIONS[permission]
    if actor.kind == "key":
        needed = f"it needs a scope of {scope}" if scope else "no key may do it"
        return f"this key may not {permission}; {needed}"
    if actor.by_pin and permission in ROLE_PERMISSIONS.get(actor.role, frozenset()):
        return f"the short number does not open {permission}; sign in with your password for it"
    able = _RANKS[_RANKS.index(first) :]
    return f"{actor.role} may not {permission}; ask one of: {', '.join(able)}"
