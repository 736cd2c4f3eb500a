"""PostgreSQL: what an address may say besides, and what every transaction is told.

Nothing is left behind in a session: timeouts are set within each transaction, and prepared statements can be
switched off, so that a pooler may hand every transaction to another connection.
"""

import dataclasses
import os
import select
from typing import Any, Final

import sqlalchemy as sa

from server.errors import UsageError

#: Seconds a statement may take, wait for a lock, and a transaction may stand still (a turn while a press is
#: evaluated: a piece takes a second) before PostgreSQL ends it.
STATEMENT_S, LOCK_S, IDLE_S = 60, 5, 180

#: Seconds to wait for another server that migrates, and the number under which one does.
MIGRATING_S: Final = 900
_MIGRATING: Final = 0x52494E47

#: Statements a connection keeps prepared: a live shot alone asks some fifty.
PREPARED_MAX: Final = 200

#: Execution option of a connection whose transactions see one state of the database, and write nothing.
SNAPSHOT: Final = "ringtell_snapshot"
_BEGIN_SNAPSHOT: Final = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"

#: Words of our own in the address; all others are handed to the driver.
_OWN: Final = ("prepared", "statement_s", "lock_s")


@dataclasses.dataclass(frozen=True)
class Address:
    """Where a database is, and how it is spoken to."""

    url: sa.URL
    prepared: bool = True
    statement_s: int = STATEMENT_S
    lock_s: int = LOCK_S


def address_of(url: str | sa.URL) -> Address:
    """Take our own words (`?prepared=off&statement_s=60&lock_s=5`) out of an address."""
    parsed = sa.make_url(url)
    own = {name: parsed.query[name] for name in _OWN if name in parsed.query}
    bare = parsed.difference_update_query(_OWN)
    prepared = own.get("prepared", "on")
    if prepared not in ("on", "off"):
        raise UsageError(f"database address: prepared={prepared!r} is neither on nor off")
    return Address(
        url=bare,
        prepared=prepared == "on",
        statement_s=_seconds("statement_s", own.get("statement_s", STATEMENT_S)),
        lock_s=_seconds("lock_s", own.get("lock_s", LOCK_S)),
    )


def _seconds(name: str, given: Any) -> int:
    try:
        value = int(given)
    except (TypeError, ValueError):
        value = 0
    if not 1 <= value <= 86_400:
        raise UsageError(f"database address: {name}={given!r} is not a number of seconds from 1 to 86400")
    return value


def libpq_address(url: str | sa.URL) -> str:
    """The address as PostgreSQL's own programs and its driver take it, password included."""
    return address_of(url).url.set(drivername="postgresql").render_as_string(hide_password=False)


def open_postgresql(url: sa.URL) -> sa.Engine:
    """An engine whose transactions each bound how long they take, wait and stand still."""
    address = address_of(url)
    engine = sa.create_engine(
        address.url.set(drivername="postgresql+psycopg"),
        pool_size=12,
        # The one used last first: what it has prepared, and the database of it in its cache, is warm.
        pool_use_lifo=True,
        max_overflow=8,
        pool_pre_ping=True,
        pool_timeout=10,
        connect_args={
            "connect_timeout": 5,
            # Who works on what stands in pg_stat_activity.
            "application_name": f"ringtell {os.getpid()}",
            "prepare_threshold": 5 if address.prepared else None,
            # A server whose network is gone gives its turns back within half a minute.
            "keepalives_idle": 10,
            "keepalives_interval": 5,
            "keepalives_count": 4,
        },
    )
    bounds = bounds_of(statement_s=address.statement_s, lock_s=address.lock_s)

    def begin(connection: sa.Connection) -> None:
        # With its bounds in one message: apart they took a round trip each.
        is_snapshot = connection.get_execution_options().get(SNAPSHOT, False)
        connection.exec_driver_sql(f"{_BEGIN_SNAPSHOT if is_snapshot else 'BEGIN'}; {bounds}")

    sa.event.listen(engine, "connect", _begin_ourselves)
    sa.event.listen(engine, "begin", begin)
    dialect: Any = engine.dialect
    ask = dialect.do_ping
    dialect.do_ping = lambda driver: has_been_quiet(driver) or ask(driver)
    return engine


def _begin_ourselves(driver: Any, _record: Any) -> None:
    # The driver must not open transactions by itself; `begin` does.
    driver.autocommit = True
    driver.prepared_max = PREPARED_MAX


def has_been_quiet(driver: Any) -> bool:
    """Whether nothing came from the database while a connection rested: neither a word nor its end.

    A database that was stopped, a pooler or a firewall that closed the connection left something to read. So
    a connection need not be asked, with a round trip, whether it is still there.
    """
    if not hasattr(select, "poll"):
        return False
    waits = select.poll()
    waits.register(driver.fileno(), select.POLLIN)
    return not waits.poll(0)


def bounds_of(*, statement_s: int, lock_s: int, idle_s: int = IDLE_S) -> str:
    """What bounds the transaction it is said in; 0: no bound."""
    return (
        f"SET LOCAL statement_timeout = '{statement_s}s'; SET LOCAL lock_timeout = '{lock_s}s';"
        f" SET LOCAL idle_in_transaction_session_timeout = '{idle_s}s'"
    )


def alone_in_migrating(connection: sa.Connection) -> None:
    """Wait until no other server migrates this database, then let nothing wait long for what we lock.

    The advisory lock ends with the transaction; whoever waited finds the schema as the first one left it.
    """
    connection.exec_driver_sql(bounds_of(statement_s=0, lock_s=MIGRATING_S))
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MIGRATING})")
    connection.exec_driver_sql(bounds_of(statement_s=0, lock_s=LOCK_S))


def is_held(error: BaseException) -> bool:
    """Whether a statement gave up because somebody else held what it needed."""
    return isinstance(error, sa.exc.DBAPIError) and getattr(error.orig, "sqlstate", "") == "55P03"
