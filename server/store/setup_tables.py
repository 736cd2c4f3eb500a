"""Table of set-points people entered for a press, a mold and a material."""

import sqlalchemy as sa

from server.store.table_base import Big
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# What a press is set to, where its shots do not say so. Never changed: the next entry goes before it.
setpoint_entries = _table(
    "setpoint_entries",
    _key("press_id", sa.Integer),
    _key("entry_no", sa.Integer),
    _need("mold", sa.Text, server_default=""),
    _need("material", sa.Text, server_default=""),
    _need("setup", sa.Text, server_default=""),
    # A JSON object, canonical.
    _need("setpoints", sa.Text),
    _need("at_ms", Big),
    _need("note", sa.Text, server_default=""),
    _need("author", sa.Text),
    _need("entered_ms", Big),
)
