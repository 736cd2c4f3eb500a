"""Device keys: made once, shown once, checked by their digest, handed over to a successor without a gap."""

import dataclasses
import logging
from collections.abc import Iterable
from typing import Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.tokens import new_token, token_hash
from server.contract import SCOPES
from server.errors import ConflictError, InvalidError, NotFoundError
from server.language import N_
from server.store import device_keys as kept
from server.store import people as kept_people
from server.store.audit import PLANT, add_audit
from server.store.device_keys import DeviceKey

log = logging.getLogger("ringtell.access")

#: How a key begins, so that one pasted into the wrong place is recognised.
PREFIX: Final = "rtk_"
NAME_LENGTH_MAX: Final = 80
#: How long the old key goes on beside its successor.
OVERLAP_HOURS: Final = 72.0
OVERLAP_HOURS_MAX: Final = 24.0 * 90
#: `last_used_ms` is written at most so often.
USED_EVERY_MS: Final = 60_000


@dataclasses.dataclass(frozen=True)
class NewKey:
    """A key just made. `token` is what the device sends; it is not kept."""

    token: str = dataclasses.field(repr=False)
    key: DeviceKey


@dataclasses.dataclass(frozen=True)
class HeldKey:
    """Whom a token stands for. is_due: that it was used should be written down."""

    actor: Actor
    is_due: bool


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
        raise InvalidError(
            N_("scopes {join!r}: some of {join_2}", join=", ".join(wanted), join_2=", ".join(SCOPES)),
            field="scopes",
        )
    label = name or press or "every press"
    if len(label) > NAME_LENGTH_MAX or not label.isprintable():
        raise InvalidError(
            N_("name: up to {name_length_max} printable characters", name_length_max=NAME_LENGTH_MAX),
            field="name",
        )
    token = PREFIX + new_token()
    key = kept.insert_key(
        connection,
        token_hash(token),
        name=label,
        press=press,
        scopes=" ".join(wanted),
        now_ms=now_ms,
        created_by=by,
    )
    after = {"name": label, "press": press, "scopes": wanted}
    _audit(connection, "key_created", key.key_id, by=by, now_ms=now_ms, after=after)
    return NewKey(token, key)


def rotate_key(
    connection: sa.Connection, key_id: int, *, overlap_hours: float = OVERLAP_HOURS, by: str, now_ms: int
) -> NewKey:
    """A successor with the same press and scopes; the old key goes on until the overlap is over."""
    if not 0.0 <= overlap_hours <= OVERLAP_HOURS_MAX:
        raise InvalidError(
            N_(
                "overlap_hours {overlap_hours:g}: 0 to {overlap_hours_max:g}",
                overlap_hours=overlap_hours,
                overlap_hours_max=OVERLAP_HOURS_MAX,
            ),
            field="overlap_hours",
        )
    kept.lock_keys(connection)
    old = kept.key_by_id(connection, key_id)
    if old is None or not old.holds(now_ms):
        raise NotFoundError(N_("no key {key_id} in use", key_id=key_id), field="key")
    if any(one.replaces == key_id and one.holds(now_ms) for one in kept.all_keys(connection)):
        raise ConflictError(
            N_("key {key_id} has a successor already; rotate that one, or revoke it first", key_id=key_id)
        )
    ends_ms = now_ms + int(overlap_hours * 3_600_000)
    token = PREFIX + new_token()
    key = kept.insert_key(
        connection,
        token_hash(token),
        name=old.name,
        press=old.press,
        scopes=old.scopes,
        now_ms=now_ms,
        replaces=key_id,
        created_by=by,
    )
    kept.end_key(connection, key_id, ends_ms=ends_ms)
    before, after = {"ends_ms": old.ends_ms}, {"ends_ms": ends_ms, "successor": key.key_id}
    _audit(connection, "key_rotated", key_id, by=by, now_ms=now_ms, before=before, after=after)
    return NewKey(token, key)


def hold_key(connection: sa.Connection, token: str, *, now_ms: int) -> HeldKey | None:
    """Whom the bearer token stands for, or None when unknown, over or revoked."""
    ticket = token_hash(token)
    key = kept.key_by_hash(connection, ticket)
    if key is None or not key.holds(now_ms):
        return None
    scopes = frozenset(key.scopes.split())
    actor = Actor(f"key {key.name}", "", "key", press=key.press, scopes=scopes, ticket=ticket)
    return HeldKey(actor, key.last_used_ms is None or now_ms - key.last_used_ms >= USED_EVERY_MS)


def revoke_key(connection: sa.Connection, key_id: int, *, by: str, now_ms: int) -> None:
    """From now on the key opens nothing."""
    if not kept.revoke_key(connection, key_id, now_ms=now_ms):
        raise NotFoundError(N_("no key {key_id} in use", key_id=key_id), field="key")
    _audit(connection, "key_revoked", key_id, by=by, now_ms=now_ms)


def still_holds(connection: sa.Connection, actor: Actor, *, now_ms: int) -> bool:
    """Whether a long request, such as an event stream, may go on."""
    if actor.kind == "open":
        return True
    if actor.kind == "person":
        return kept_people.person_of_session(connection, actor.ticket, now_ms=now_ms) is not None
    if actor.kind == "key":
        key = kept.key_by_hash(connection, actor.ticket)
        return key is not None and key.holds(now_ms)
    return False


def _audit(
    connection: sa.Connection,
    action: str,
    key_id: int,
    *,
    by: str,
    now_ms: int,
    before: object = None,
    after: object = None,
) -> None:
    log.info("%s: key %s by %s", action, key_id, by)
    add_audit(
        connection, PLANT, now_ms=now_ms, who=by, action=action, subject=f"key {key_id}",
        before=before, after=after,
    )  # fmt: skip
