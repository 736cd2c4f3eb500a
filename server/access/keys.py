"""Device keys: made once, shown once, checked by their digest."""

import dataclasses
from collections.abc import Iterable
from typing import Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.tokens import new_token, token_hash
from server.contract import SCOPES
from server.errors import InvalidError, NotFoundError
from server.store import device_keys as kept
from server.store import people as kept_people
from server.store.audit import PLANT, add_audit
from server.store.device_keys import DeviceKey

#: How a key begins, so that one pasted into the wrong place is recognised.
PREFIX: Final = "rtk_"
NAME_LENGTH_MAX: Final = 80


@dataclasses.dataclass(frozen=True)
class NewKey:
    """A key just made. `token` is what the device sends; it is not kept."""

    token: str = dataclasses.field(repr=False)
    key: DeviceKey


def create_key(
    connection: sa.Connection,
    *,
    press: str = "",
    scopes: Iterable[str] = ("ingest",),
    name: str = "",
    by: str,
    now_ms: int,
) -> NewKey:
    """Make a key for one press, or with press '' for all."""
    wanted = sorted(set(scopes))
    if not wanted or not set(wanted) <= set(SCOPES):
        raise InvalidError(f"scopes {', '.join(wanted)!r}: some of {', '.join(SCOPES)}", field="scopes")
    label = name or press or "every press"
    if len(label) > NAME_LENGTH_MAX:
        raise InvalidError(f"name has {len(label)} characters; at most {NAME_LENGTH_MAX}", field="name")
    token = PREFIX + new_token()
    key = kept.insert_key(
        connection, token_hash(token), name=label, press=press, scopes=" ".join(wanted), now_ms=now_ms
    )
    add_audit(
        connection,
        PLANT,
        now_ms=now_ms,
        who=by,
        action="key_created",
        subject=f"key {key.key_id}",
        after={"name": label, "press": press, "scopes": wanted},
    )
    return NewKey(token, key)


def actor_of_key(connection: sa.Connection, token: str) -> Actor | None:
    """Who the bearer token stands for, or None when unknown or revoked."""
    ticket = token_hash(token)
    key = kept.key_by_hash(connection, ticket)
    if key is None or key.revoked_ms is not None:
        return None
    scopes = frozenset(key.scopes.split())
    return Actor(f"key {key.name}", "", "key", press=key.press, scopes=scopes, ticket=ticket)


def revoke_key(connection: sa.Connection, key_id: int, *, by: str, now_ms: int) -> None:
    if not kept.revoke_key(connection, key_id, now_ms=now_ms):
        raise NotFoundError(f"no key {key_id} in use", field="key")
    add_audit(connection, PLANT, now_ms=now_ms, who=by, action="key_revoked", subject=f"key {key_id}")


def still_holds(connection: sa.Connection, actor: Actor, *, now_ms: int) -> bool:
    """Whether a long request, such as an event stream, may go on."""
    if actor.kind == "open":
        return True
    if actor.kind == "person":
        return kept_people.person_of_session(connection, actor.ticket, now_ms=now_ms) is not None
    if actor.kind == "key":
        key = kept.key_by_hash(connection, actor.ticket)
        return key is not None and key.revoked_ms is None
    return False
