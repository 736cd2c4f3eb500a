"""Presses, molds, setups and the plant's settings: the small tables everything else refers to."""

import dataclasses
import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from server.errors import NotFoundError
from server.language import N_
from server.store.asked import Asked
from server.store.numbering import lock_table
from server.store.tables import molds, plant_settings, press_states, presses, setups


@dataclasses.dataclass(frozen=True)
class Press:
    """A press as configured. `dose_lag` None: detected from the shots."""

    press_id: int
    press: str
    name: str
    area: str
    accepted: bool
    screw_diameter_mm: float | None
    valve_style: str
    pressure_basis: str
    intensification: float | None
    cushion_definition: str
    dose_lag: int | None
    bottom_mm: float | None
    silent_after_s: float | None
    details: str
    created_ms: int


@dataclasses.dataclass(frozen=True)
class Setup:
    """What a shot was made with. `setpoints` is canonical JSON."""

    press_id: int
    setup_id: int
    mold: str
    material: str
    setup: str
    setpoints: str
    first_seen_ms: int


_OF_PRESS = [presses.c[field.name] for field in dataclasses.fields(Press)]
_HERE: sa.BindParameter[int] = sa.bindparam("press_id", type_=sa.Integer)
_BY_ID = Asked(sa.select(*_OF_PRESS).where(presses.c.press_id == _HERE))
_COUNT = Asked(sa.select(sa.func.count()).select_from(presses).where(presses.c.accepted))
_SETUPS = Asked(
    sa.select(*(setups.c[field.name] for field in dataclasses.fields(Setup))).where(
        setups.c.press_id == _HERE
    )
)
_SETTINGS = Asked(sa.select(plant_settings.c.name, plant_settings.c.value))


def setup_digest(mold: str, material: str, setup: str, setpoints: str) -> int:
    """The id of a set-up: 52 bits of a digest of its content, so any order of arrival agrees."""
    text = json.dumps([mold, material, setup, setpoints], ensure_ascii=False)
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big") >> 12


def press_by_code(connection: sa.Connection, code: str) -> Press | None:
    row = connection.execute(sa.select(presses).where(presses.c.press == code)).one_or_none()
    return None if row is None else Press(**row._mapping)


def press_by_id(connection: sa.Connection, press_id: int) -> Press:
    (row,) = _BY_ID.rows(connection, press_id=press_id)
    return Press(*row)


def need_press(connection: sa.Connection, code: str) -> Press:
    """The press, or NotFoundError naming it."""
    press = press_by_code(connection, code)
    if press is None:
        raise NotFoundError(
            N_("no press {code!r}; PUT /api/v1/presses/{{press}} creates one", code=code), field="press"
        )
    return press


def all_presses(connection: sa.Connection) -> list[Press]:
    rows = connection.execute(sa.select(presses).order_by(presses.c.press))
    return [Press(**row._mapping) for row in rows]


def presses_in(connection: sa.Connection, areas: Sequence[str]) -> frozenset[str]:
    """The codes of the presses in these areas."""
    query = sa.select(presses.c.press).where(presses.c.area.in_(areas))
    return frozenset(connection.execute(query).scalars())


def known_areas(connection: sa.Connection) -> list[str]:
    """Every area a press stands in."""
    query = sa.select(presses.c.area).where(presses.c.area != "").distinct().order_by(presses.c.area)
    return list(connection.execute(query).scalars())


def count_presses(connection: sa.Connection) -> int:
    """Presses of the plant: accepted ones."""
    ((count,),) = _COUNT.rows(connection)
    return int(count)


def put_press(connection: sa.Connection, code: str, changes: Mapping[str, Any], *, now_ms: int) -> bool:
    """Create or merge a press; True when it is new."""
    known = press_by_code(connection, code)
    if known is None:
        connection.execute(sa.insert(presses).values(press=code, created_ms=now_ms, **changes))
        made = press_by_code(connection, code)
        assert made is not None
        connection.execute(sa.insert(press_states).values(press_id=made.press_id))
        return True
    if changes:
        connection.execute(sa.update(presses).where(presses.c.press_id == known.press_id).values(**changes))
    return False


def mold_by_code(connection: sa.Connection, code: str) -> Mapping[str, Any] | None:
    row = connection.execute(sa.select(molds).where(molds.c.mold == code)).one_or_none()
    return None if row is None else row._mapping  # type: ignore[return-value]  # RowMapping is a Mapping


def need_mold(connection: sa.Connection, code: str) -> Mapping[str, Any]:
    mold = mold_by_code(connection, code)
    if mold is None:
        raise NotFoundError(
            N_("no mold {code!r}; PUT /api/v1/molds/{{mold}} creates one", code=code), field="mold"
        )
    return mold


def all_molds(connection: sa.Connection) -> list[Mapping[str, Any]]:
    rows = connection.execute(sa.select(molds).order_by(molds.c.mold))
    return [row._mapping for row in rows]  # type: ignore[misc]  # as above


def put_mold(connection: sa.Connection, code: str, changes: Mapping[str, Any], *, now_ms: int) -> bool:
    """Create or merge a mold; True when it is new."""
    if mold_by_code(connection, code) is None:
        connection.execute(sa.insert(molds).values(mold=code, created_ms=now_ms, **changes))
        return True
    if changes:
        connection.execute(sa.update(molds).where(molds.c.mold == code).values(**changes))
    return False


def setups_of(connection: sa.Connection, press_id: int) -> dict[int, Setup]:
    found = [Setup(*row) for row in _SETUPS.rows(connection, press_id=press_id)]
    return {one.setup_id: one for one in found}


def setups_with_mold(connection: sa.Connection, mold: str) -> list[Setup]:
    """Every set-up that ever ran this mold, by press."""
    rows = connection.execute(
        sa.select(setups).where(setups.c.mold == mold).order_by(setups.c.press_id, setups.c.setup_id)
    )
    return [Setup(**row._mapping) for row in rows]


def keep_setup(connection: sa.Connection, setup: Setup) -> None:
    connection.execute(_insert_ignore(connection, setups).values(**dataclasses.asdict(setup)))


def _insert_ignore(connection: sa.Connection, table: sa.Table) -> Any:
    from sqlalchemy.dialects import postgresql, sqlite

    kind = postgresql if connection.dialect.name == "postgresql" else sqlite
    return kind.insert(table).on_conflict_do_nothing()


def upsert(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    """Insert rows; where the key exists, every other column takes the new value."""
    if not rows:
        return
    from sqlalchemy.dialects import postgresql, sqlite

    kind = postgresql if connection.dialect.name == "postgresql" else sqlite
    statement = kind.insert(table)
    keys = [column.name for column in table.primary_key.columns]
    changed = {name: statement.excluded[name] for name in rows[0] if name not in keys}
    connection.execute(statement.on_conflict_do_update(index_elements=keys, set_=changed), rows)


#: What the plant decides, with what holds until it does.
PLANT_DEFAULTS: dict[str, Any] = {
    "plant_name": "",
    "prevalence": 0.05,
    # Shots a valve lasts in this plant; 0: not said, and its age then says nothing.
    "valve_life_shots": 0.0,
    # {"shift", "slope", "inspections", "at_ms"} put on the score by the plant's own inspections; None: none.
    "recalibration": None,
    "alarm_budget_per_shift": 1.0,
    "alarm_budget_per_press_week": 0.2,
    "accept_unknown_presses": False,
    "units": {"length": "mm", "pressure": "bar", "temperature": "degC", "volume": "cm3"},
    "language": "en",
    "time_zone": "UTC",
    "shifts": ["06:00", "14:00", "22:00"],
    "rules": ["beyond_limit", "two_of_three_beyond_2_sigma", "four_of_five_beyond_1_sigma", "one_side"],
    "open_at": 0.7,
    "close_at": 0.4,
    "silent_after_s": 900.0,
    "shelve_max_min": 480,
    # What valves cost, in the plant's currency, for the choice between changing and waiting; 0: not said.
    "currency": "",
    "cost_change": 0.0,
    "cost_needless_pull": 0.0,
    "cost_failure": 0.0,
    "cost_scrap_per_1000": 0.0,
    "shots_between_stops": 0.0,
    # Minutes without a touch after which a shared tablet asks who is there.
    "lock_after_min": 5.0,
    "out_of_service_max_days": 30.0,
    # Months raw shots are kept before they may be thinned out; 0: for ever.
    "keep_raw_months": 0.0,
    # The same of ten-minute summaries; they stay as long as raw shots at least, hours and days for ever.
    "keep_fine_months": 0.0,
    # Local time from which the server thins by itself, for four hours at most; empty: only by command.
    "thin_at": "",
}


def read_settings(connection: sa.Connection) -> dict[str, Any]:
    kept = {name: json.loads(value) for name, value in _SETTINGS.rows(connection) if name in PLANT_DEFAULTS}
    return {**PLANT_DEFAULTS, **kept}


def lock_settings(connection: sa.Connection) -> None:
    """Let nobody else change settings until the transaction ends: some are checked against others."""
    lock_table(connection, plant_settings)


def put_settings(connection: sa.Connection, changes: Mapping[str, Any]) -> None:
    upsert(
        connection,
        plant_settings,
        [{"name": name, "value": json.dumps(value)} for name, value in changes.items()],
    )
