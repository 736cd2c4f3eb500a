"""Tables of imported files: their course, what each brought, who is at it, and how files are read."""

import sqlalchemy as sa

from server.store.table_base import Big
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

imports = _table(
    "imports",
    _key("import_no"),
    _need("file_name", sa.Text),
    _need("size", Big),
    # 'uploaded', 'waiting', 'running', 'done', 'cancelled', 'failed', 'undoing', 'undone'
    _need("state", sa.Text),
    _need("options", sa.Text, server_default="{}"),
    _need("received", Big, server_default="0"),
    _need("stored", Big, server_default="0"),
    _need("duplicate", Big, server_default="0"),
    _need("conflict", Big, server_default="0"),
    _need("rejected", Big, server_default="0"),
    _need("trouble", sa.Text, server_default=""),
    _need("who", sa.Text),
    _need("created_ms", Big),
    sa.Column("started_ms", Big),
    sa.Column("ended_ms", Big),
    sa.Column("undone_ms", Big),
    _need("undone_by", sa.Text, server_default=""),
)

# Which server is at an import, and until when it is taken to be alive.
import_holds = _table(
    "import_holds",
    _key("import_no"),
    _need("held_by", sa.Text),
    _need("until_ms", Big),
    _need("cancel_asked", sa.Boolean, server_default=sa.false()),
)

# Which shots an import brought: packed keys, so that the shots themselves need not say.
import_pieces = _table(
    "import_pieces",
    _key("press_id", sa.Integer),
    _key("import_no"),
    _key("piece_no"),
    _need("from_ms", Big),
    _need("to_ms", Big),
    _need("shots", Big),
    _need("keys", sa.LargeBinary),
)

import_mappings = _table(
    "import_mappings",
    sa.Column("name", sa.Text, primary_key=True),
    # What the headers of its files share.
    _need("header_key", sa.Text),
    _need("options", sa.Text),
    _need("saved_by", sa.Text),
    _need("saved_ms", Big),
)

sa.Index("ix_import_pieces_import_no", import_pieces.c.import_no)
