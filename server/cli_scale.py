"""What `ringtell db distribute` and `ringtell db months` do: a database that outgrows a disk or a node."""

import argparse

from server.care import open_store
from server.clock import now_ms
from server.errors import UsageError
from server.record.fields import read_time
from server.say import say
from server.settings import Settings
from server.store import distribution
from server.store.months import BY_MONTH, make_months, months_of


def db_distribute(given: argparse.Namespace) -> None:
    """Every table over the nodes, by press; what is spread already stays."""
    if given.show:
        for one in distribution.spreads():
            say(f"{one.statement};")
        return
    with open_store(Settings.from_environment().direct_url, upgraded=True) as store:
        distribution.need_extension(store)
        known = distribution.spread_already(store)
        for one in distribution.spreads():
            if one.table in known:
                say(f"{one.table}: spread already")
                continue
            distribution.spread(store, one)
            say(f"{one.table}: spread")
    say("the rows the tables held before are still on this node as well; the extension's own")
    say("truncate_local_data_after_distributing_table(…) frees them once you have looked")


def db_months(given: argparse.Namespace) -> None:
    """Partitions by month, made ahead or from an earlier month on."""
    at_ms = now_ms()
    from_ms = None if given.since is None else read_time("--since", given.since, now_ms=at_ms)
    with open_store(Settings.from_environment().direct_url, upgraded=True) as store:
        if store.is_sqlite:
            raise UsageError("an SQLite file has no partitions; its shots lie in order of press and time")
        for name in make_months(store, now_ms=at_ms, from_ms=from_ms):
            say(f"{name}: made")
        for table in BY_MONTH:
            names = months_of(store, table)
            say(f"{table}: {len(names)} months ({', '.join(names) or 'none'}), the rest in {table}_other")
