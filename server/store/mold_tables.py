"""Tables of what a mold was asked for over the years."""

import sqlalchemy as sa

from server.store.table_base import Big
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# Limits and demand of a mold since a moment; nothing is changed afterwards.
mold_versions = _table(
    "mold_versions",
    _key("mold", sa.Text),
    _key("version_no", sa.Integer),
    _need("since_ms", Big),
    _need("limits", sa.Text),
    _need("demand", sa.Text),
    _need("who", sa.Text),
    _need("why", sa.Text, server_default=""),
)
