"""Mappings of imports saved by name: how a source's files are read, offered again for the next one."""

from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.errors import InvalidError
from server.language import N_
from server.record.fields import Given, refuse
from server.store.audit import PLANT, add_audit
from server.store.imports import SavedMapping, delete_mapping, mapping_by_name, put_mapping
from server.tabular.headers import header_key

NAME_LENGTH_MAX: Final = 80
_COLUMNS_MAX: Final = 400


def save_mapping(
    connection: sa.Connection,
    name: str,
    body: Any,
    *,
    who: str,
    now_ms: int,
    check: Callable[[Mapping[str, Any]], object],
) -> SavedMapping:
    """Save options under a name, in place of what stood there. check: raises where they can be nothing."""
    given = Given.of(body, known=("options", "columns"))
    name = Given({"name": name}).text("name", longest=NAME_LENGTH_MAX)
    if not name:
        raise InvalidError(N_("name is empty; give the mapping the name of its source"), field="name")
    options, columns = given.body.get("options"), given.body.get("columns")
    if not isinstance(options, Mapping):
        raise refuse("options", options, N_("an object"))
    if not isinstance(columns, list) or not 1 <= len(columns) <= _COLUMNS_MAX:
        raise refuse("columns", columns, N_("a list of 1 to {columns_max} names", columns_max=_COLUMNS_MAX))
    if not all(isinstance(one, str) for one in columns):
        raise refuse("columns", columns, N_("a list of texts"))
    check(options)
    before = mapping_by_name(connection, name)
    kept = SavedMapping(name, header_key(columns), options, who, now_ms)
    put_mapping(connection, kept)
    add_audit(
        connection,
        PLANT,
        now_ms=now_ms,
        who=who,
        action="mapping_saved",
        subject=name,
        before=None if before is None else dict(before.options),
        after=dict(options),
    )
    return kept


def forget_mapping(connection: sa.Connection, name: str, *, who: str, now_ms: int) -> bool:
    """False: there is none of this name."""
    before = mapping_by_name(connection, name)
    if before is None:
        return False
    delete_mapping(connection, name)
    add_audit(
        connection, PLANT, now_ms=now_ms, who=who, action="mapping_forgotten", subject=name,
        before=dict(before.options),
    )  # fmt: skip
    return True
