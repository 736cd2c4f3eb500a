"""What tables are made of: the one metadata object, keys and columns. The tables stand in `tables`."""

from typing import Any

import sqlalchemy as sa

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

Big = sa.BigInteger
Real = sa.Double


def table(
    name: str, *items: sa.schema.SchemaItem, rowid: bool = True, partition_by: str | None = None
) -> sa.Table:
    # WITHOUT ROWID clusters a table by its key: a press's stretch of time is read in one sweep.
    options: dict[str, Any] = {} if rowid else {"sqlite_with_rowid": False}
    if partition_by:
        options["postgresql_partition_by"] = partition_by
    return sa.Table(name, metadata, *items, **options)


def key(name: str, kind: Any = Big) -> sa.Column[Any]:
    return sa.Column(name, kind, primary_key=True, autoincrement=False)


def need(name: str, kind: Any, **more: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=False, **more)
