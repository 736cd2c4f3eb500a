"""Sessions: opened, held on to, listed, ended. The token is in the cookie; its digest is kept."""

import dataclasses
import json
from typing import Final

import sqlalchemy as sa

from server.access.actors import Actor
from server.access.preferences import read_preferences
from server.access.tokens import new_token, token_hash
from server.errors import NotFoundError
from server.language import N_
from server.store import people as kept
from server.store.audit import PLANT, add_audit
from server.store.people import Person, Session
from server.store.plant import presses_in

#: `seen_ms` is written at most so often, and at least ten times within what idling is allowed.
SEEN_EVERY_MS: Final = 60_000
#: Ended sessions are forgotten after so long.
_KEPT_MS: Final = 30 * 86_400_000


@dataclasses.dataclass(frozen=True)
class Opening:
    """How a session begins. idle_ms None: it lasts until its time whether used or not."""

    hours: float
    idle_ms: int | None = None
    tablet_id: int | None = None
    by_pin: bool = False
    agent: str = ""
    address: str = ""


@dataclasses.dataclass(frozen=True)
class Held:
    """Whom a cookie stands for. is_due: that somebody was there should be written down."""

    actor: Actor
    is_due: bool
    seen_every_ms: int


def session_id(ticket: bytes) -> str:
    """A name for a session that opens nothing."""
    return ticket.hex()[:16]


def open_session(
    connection: sa.Connection, person: Person, opening: Opening, *, now_ms: int, instead_of: str = ""
) -> str:
    """Start a session under a fresh token; the one used until now ends. The token is not kept."""
    if instead_of:
        kept.revoke_session(connection, token_hash(instead_of), now_ms=now_ms)
    token = new_token()
    kept.insert_session(
        connection,
        token_hash(token),
        person_id=person.person_id,
        now_ms=now_ms,
        ends_ms=now_ms + int(opening.hours * 3_600_000),
        idle_ms=opening.idle_ms,
        tablet_id=opening.tablet_id,
        by_pin=opening.by_pin,
        agent=opening.agent[:200],
        address=opening.address,
    )
    kept.forget_sessions(connection, before_ms=now_ms - _KEPT_MS)
    return token


def hold_session(connection: sa.Connection, token: str, *, now_ms: int) -> Held | None:
    """Whom the cookie stands for, or None when it stands for nobody any more."""
    ticket = token_hash(token)
    found = kept.running_session(connection, ticket, now_ms=now_ms)
    if found is None:
        return None
    person, session = found
    areas = tuple(json.loads(person.areas))
    reads = read_preferences(person.preferences)
    actor = Actor(
        person.name,
        person.role,
        "person",
        must_change=person.must_change,
        ticket=ticket,
        areas=areas,
        presses=presses_in(connection, areas) if areas else None,
        by_pin=session.by_pin,
        tablet_id=session.tablet_id,
        units=reads["units"],
        language=reads["language"],
    )
    every_ms = _seen_every(session)
    return Held(actor, now_ms - session.seen_ms >= every_ms, every_ms)


def _seen_every(session: Session) -> int:
    return SEEN_EVERY_MS if session.idle_ms is None else min(SEEN_EVERY_MS, session.idle_ms // 10)


def actor_of_session(connection: sa.Connection, token: str, *, now_ms: int) -> Actor | None:
    """Whom the cookie stands for, or None."""
    held = hold_session(connection, token, now_ms=now_ms)
    return None if held is None else held.actor


def end_session(connection: sa.Connection, actor: Actor, *, now_ms: int) -> None:
    kept.revoke_session(connection, actor.ticket, now_ms=now_ms)


def end_one(connection: sa.Connection, person: Person, wanted: str, *, by: str, now_ms: int) -> None:
    """End the session of that name, of one's own or of somebody one is responsible for."""
    for session in kept.sessions_of(connection, person.person_id, now_ms=now_ms):
        if session_id(session.token_hash) == wanted:
            kept.revoke_session(connection, session.token_hash, now_ms=now_ms)
            _audit(connection, "session_ended", person, by=by, now_ms=now_ms, sessions=1)
            return
    raise NotFoundError(
        N_("{name} has no session {wanted!r}", name=person.name, wanted=wanted), field="session"
    )


def end_all(
    connection: sa.Connection, person: Person, *, but: bytes | None = None, by: str, now_ms: int
) -> int:
    """End every session of a person, but perhaps the one in use; how many."""
    running = kept.sessions_of(connection, person.person_id, now_ms=now_ms)
    ended = sum(session.token_hash != but for session in running)
    kept.revoke_sessions_of(connection, person.person_id, but=but, now_ms=now_ms)
    if ended:
        _audit(connection, "sessions_ended", person, by=by, now_ms=now_ms, sessions=ended)
    return ended


def _audit(
    connection: sa.Connection, action: str, person: Person, *, by: str, now_ms: int, sessions: int
) -> None:
    add_audit(
        connection, PLANT, now_ms=now_ms, who=by, action=action, subject=person.name,
        after={"sessions": sessions},
    )  # fmt: skip
