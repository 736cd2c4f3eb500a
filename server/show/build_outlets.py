"""Who is told about alarms, as a page: routes, what waits, what was given up."""

from typing import Final

import sqlalchemy as sa

from server.contract import URGENCIES
from server.language import N_, _, plural
from server.show.alarm_pages import MessageRow, OutletsPage, RouteRow
from server.show.pages import Choice
from server.show.plant_words import Plant
from server.store import outbox, outlet_routes
from server.store.outbox import Queued
from server.store.outlet_routes import Route
from server.store.page_queries import accepted_presses
from server.words.catalogue import URGENCY, worded
from server.words.numbers import count_word
from server.words.recipients import shown_recipient

_OUTLET: Final = {"mail": "e-mail", "webhook": "webhook", "log": N_("the server's log")}
#: What the server must be told before an outlet can be used.
_TOLD_BY: Final = {
    "mail": N_("E-mail needs RINGTELL_SMTP_HOST (and its like) in the server's environment."),
    "webhook": N_("Webhooks need RINGTELL_WEBHOOK_HOSTS and _SECRET in the server's environment."),
}


def build_outlets(connection: sa.Connection, plant: Plant, *, outlets: tuple[str, ...]) -> OutletsPage:
    routes = outlet_routes.routes(connection)
    dead = outbox.messages(connection, which="dead")
    areas = sorted({row["area"] for row in accepted_presses(connection)} - {""})
    return OutletsPage(
        frame=plant.frame(_("Who is told"), active="/settings"),
        answer=_answer(routes, dead),
        under=_(
            "Every alarm stands on the alarm page and in the server's log; routes tell people who are away"
        ),
        routes=tuple(_route(one) for one in routes),
        waiting=tuple(_message(one, plant) for one in outbox.messages(connection, which="waiting")),
        dead=tuple(_message(one, plant) for one in dead),
        sent=tuple(_message(one, plant) for one in outbox.messages(connection, which="sent", limit=10)),
        outlets=tuple(Choice(one, worded(_OUTLET, one)) for one in outlets if one != "log"),
        missing=tuple(text for one, text in _TOLD_BY.items() if one not in outlets),
        areas=tuple(Choice(area, area) for area in areas),
        urgencies=tuple(Choice(one, f"{worded(URGENCY, one)}{_AND_ABOVE[one]}") for one in URGENCIES),
        shifts=tuple(
            Choice(start, _("the one from {start}", start=start)) for start in plant.settings["shifts"]
        ),
    )


_AND_ABOVE: Final = {
    "now": N_(" only"),
    "this_shift": N_(" and more urgent"),
    "this_week": N_(" and more urgent"),
}


def _answer(routes: list[Route], dead: list[Queued]) -> str:
    active = [route for route in routes if route.active]
    if dead:
        many = count_word(len(dead), capital=True)
        return _(
            "{many} {message} could not be delivered.",
            many=many,
            message=plural(len(dead), "message", "messages"),
        )
    if not active:
        return _("Nobody away from the screen is told so far.")
    many = count_word(len(active), capital=True)
    return _(
        "{many} {route_tells} people about alarms.",
        many=many,
        route_tells=plural(len(active), "route tells", "routes tell"),
    )


def _route(route: Route) -> RouteRow:
    which = (
        worded(URGENCY, route.urgency) + _AND_ABOVE[route.urgency] if route.urgency else _("every urgency")
    )
    parts = [
        which,
        route.area or _("every area"),
        _("shift from {shift}", shift=route.shift) if route.shift else _("every shift"),
    ]
    late = _(
        "level {level}: when nobody has answered for {after_min} min",
        level=route.level,
        after_min=route.after_min,
    )
    return RouteRow(
        number=route.route_no,
        outlet=worded(_OUTLET, route.outlet),
        recipient=shown_recipient(route.outlet, route.recipient),
        which=", ".join(parts),
        when=late if route.level else _("at once"),
        active=route.active,
    )


def _message(one: Queued, plant: Plant) -> MessageRow:
    if one.delivered_ms is not None:
        state = _("sent {delivered}", delivered=plant.moment(one.delivered_ms))
    elif one.dead_ms is not None:
        state = _("given up {dead}: {trouble}", dead=plant.moment(one.dead_ms), trouble=one.trouble)
    elif one.trouble:
        state = _(
            "next try {next_try}: {trouble}", next_try=plant.moment(one.next_try_ms), trouble=one.trouble
        )
    else:
        state = "waits"
    return MessageRow(
        alarm=f"{one.press}-{one.alarm_no}" if one.press else _("test message"),
        outlet=worded(_OUTLET, one.outlet),
        recipient=shown_recipient(one.outlet, one.recipient),
        queued_text=plant.moment(one.created_ms),
        tries=str(one.tries),
        state=state,
    )
