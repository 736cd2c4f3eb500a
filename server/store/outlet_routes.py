"""Who is told about which alarms, by which outlet."""

import dataclasses

import sqlalchemy as sa

from server.store.numbering import next_of_plant
from server.store.tables import outlet_routes


@dataclasses.dataclass(frozen=True)
class Route:
    """One route. '' as area, urgency or shift stands for every one; `level` 0 is told at once."""

    route_no: int
    outlet: str
    recipient: str
    area: str
    urgency: str
    shift: str
    level: int
    after_min: int
    active: bool
    created_ms: int


def routes(connection: sa.Connection) -> list[Route]:
    """Every route, by level and number."""
    rows = connection.execute(
        sa.select(outlet_routes).order_by(outlet_routes.c.level, outlet_routes.c.route_no).limit(500)
    )
    return [Route(**row._mapping) for row in rows]


def route_by_no(connection: sa.Connection, route_no: int) -> Route | None:
    row = connection.execute(
        sa.select(outlet_routes).where(outlet_routes.c.route_no == route_no)
    ).one_or_none()
    return None if row is None else Route(**row._mapping)


def add_route(connection: sa.Connection, route: Route) -> Route:
    """Keep a new route under the next number; returns it with that number."""
    number = next_of_plant(connection, outlet_routes.c.route_no)
    numbered = dataclasses.replace(route, route_no=number)
    connection.execute(sa.insert(outlet_routes).values(**dataclasses.asdict(numbered)))
    return numbered


def update_route(connection: sa.Connection, route: Route) -> None:
    connection.execute(
        sa.update(outlet_routes)
        .where(outlet_routes.c.route_no == route.route_no)
        .values(**dataclasses.asdict(route))
    )


def remove_route(connection: sa.Connection, route_no: int) -> None:
    connection.execute(sa.delete(outlet_routes).where(outlet_routes.c.route_no == route_no))
