"""Routes people set: checked, kept, and audited without anything secret."""

import dataclasses
import re
from collections.abc import Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.contract import URGENCIES
from server.errors import InvalidError, NotFoundError
from server.language import N_
from server.notify.outlets import Outlet
from server.notify.webhook import WebhookOutlet
from server.store import outbox as kept_messages
from server.store import outlet_routes as kept
from server.store.audit import PLANT, add_audit
from server.store.outlet_routes import Route
from server.store.plant import read_settings
from server.words.recipients import shown_recipient

LEVEL_MAX: Final = 5
AFTER_MIN_MAX: Final = 7 * 24 * 60
ROUTES_MAX: Final = 200
#: One address, nothing that could become a second line of a mail's head.
_MAIL = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9][A-Za-z0-9.-]{0,250}").fullmatch


@dataclasses.dataclass(frozen=True)
class Wanted:
    """A route as somebody asks for it."""

    outlet: str
    recipient: str = ""
    area: str = ""
    urgency: str = ""
    shift: str = ""
    level: int = 0
    after_min: int = 0
    active: bool = True


def add(
    connection: sa.Connection, wanted: Wanted, *, outlets: Mapping[str, Outlet], who: str, now_ms: int
) -> Route:
    """Keep a new route."""
    _check(connection, wanted, outlets)
    if len(kept.routes(connection)) >= ROUTES_MAX:
        raise InvalidError(
            N_("there are {routes_max} routes already; remove one first", routes_max=ROUTES_MAX),
            field="outlet",
        )
    route = kept.add_route(connection, Route(route_no=0, created_ms=now_ms, **dataclasses.asdict(wanted)))
    _audit(connection, "route_added", None, route, who=who, now_ms=now_ms)
    return route


def change(
    connection: sa.Connection,
    route_no: int,
    changes: Mapping[str, Any],
    *,
    outlets: Mapping[str, Outlet],
    who: str,
    now_ms: int,
) -> Route:
    """Change some of a route."""
    before = need_route(connection, route_no)
    after = dataclasses.replace(before, **changes)
    names = [field.name for field in dataclasses.fields(Wanted)]
    _check(connection, Wanted(**{name: getattr(after, name) for name in names}), outlets)
    if after != before:
        kept.update_route(connection, after)
        _audit(connection, "route_changed", before, after, who=who, now_ms=now_ms)
    return after


def remove(connection: sa.Connection, route_no: int, *, who: str, now_ms: int) -> None:
    """Remove a route; what is queued through it still leaves."""
    before = need_route(connection, route_no)
    kept.remove_route(connection, route_no)
    _audit(connection, "route_removed", before, None, who=who, now_ms=now_ms)


def send_test(connection: sa.Connection, route_no: int, *, who: str, now_ms: int) -> int:
    """Queue a test message along a route; its number."""
    route = need_route(connection, route_no)
    number = kept_messages.queue_test(
        connection, outlet=route.outlet, recipient=route.recipient, now_ms=now_ms
    )
    _audit(connection, "route_tested", None, route, who=who, now_ms=now_ms)
    return number


def need_route(connection: sa.Connection, route_no: int) -> Route:
    route = kept.route_by_no(connection, route_no)
    if route is None:
        raise NotFoundError(
            N_("no route {route_no}; GET /api/v1/routes lists them", route_no=route_no), field="route"
        )
    return route


def _check(connection: sa.Connection, wanted: Wanted, outlets: Mapping[str, Outlet]) -> None:
    if wanted.outlet not in outlets:
        raise InvalidError(
            N_(
                "outlet {outlet!r}: this server was told how to use {join}",
                outlet=wanted.outlet,
                join=", ".join(sorted(outlets)),
            ),
            field="outlet",
            value=wanted.outlet,
        )
    _check_recipient(wanted, outlets[wanted.outlet])
    _one_of("urgency", wanted.urgency, ("", *URGENCIES))
    _one_of("shift", wanted.shift, ("", *read_settings(connection)["shifts"]))
    if not 0 <= wanted.level <= LEVEL_MAX:
        raise InvalidError(
            N_("level {level}: 0 (at once) to {level_max}", level=wanted.level, level_max=LEVEL_MAX),
            field="level",
        )
    least = 1 if wanted.level else 0
    most = AFTER_MIN_MAX if wanted.level else 0
    if not least <= wanted.after_min <= most:
        raise InvalidError(
            N_(
                "after_min {after_min}: level 0 is told at once (0), a higher one after 1 to"
                " {after_min_max} minutes",
                after_min=wanted.after_min,
                after_min_max=AFTER_MIN_MAX,
            ),
            field="after_min",
        )


def _check_recipient(wanted: Wanted, outlet: Outlet) -> None:
    if isinstance(outlet, WebhookOutlet):
        outlet.check(wanted.recipient)
    elif wanted.outlet == "mail" and not _MAIL(wanted.recipient):
        raise InvalidError(
            N_(
                "recipient {recipient!r} is no mail address like line@plant.example",
                recipient=wanted.recipient[:80],
            ),
            field="recipient",
        )
    elif wanted.outlet == "log" and wanted.recipient:
        raise InvalidError(N_("recipient of the log is left empty"), field="recipient")


def _one_of(name: str, value: str, known: tuple[str, ...]) -> None:
    if value not in known:
        choices = ", ".join(one or "'' (every)" for one in known)
        raise InvalidError(
            N_("{name} {value!r}: one of {choices}", name=name, value=value, choices=choices),
            field=name,
            value=value,
        )


def _audit(
    connection: sa.Connection,
    action: str,
    before: Route | None,
    after: Route | None,
    *,
    who: str,
    now_ms: int,
) -> None:
    either = after or before
    add_audit(
        connection,
        PLANT,
        now_ms=now_ms,
        who=who,
        action=action,
        subject=f"route {either.route_no if either else ''}",
        before=_told(before),
        after=_told(after),
    )


def _told(route: Route | None) -> dict[str, Any] | None:
    if route is None:
        return None
    return {**dataclasses.asdict(route), "recipient": shown_recipient(route.outlet, route.recipient)}
