"""The table of reports that were made."""

import sqlalchemy as sa

from server.store.table_base import Big
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# What a report rests on and came to when it was made; never changed, so that its link holds for years.
reports = _table(
    "reports",
    _key("report_no", sa.Integer),
    _need("kind", sa.Text),
    # The mold; or the press with `number` beside it; or the area, '' for the plant.
    _need("subject", sa.Text),
    _need("number", sa.Integer, server_default="0"),
    _need("from_ms", Big, server_default="0"),
    _need("to_ms", Big, server_default="0"),
    _need("basis", sa.Text),
    _need("digest", sa.Text),
    _need("software", sa.Text),
    _need("made_ms", Big),
    _need("made_by", sa.Text),
    _need("note", sa.Text, server_default=""),
)
