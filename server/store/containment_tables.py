"""Tables of parts that are held back: which, by whom, what sorting found, who let them go."""

import sqlalchemy as sa

from server.store.table_base import Big
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# One stretch of suspect shots of a press and a mold. What it was found by stands as it was when held.
containments = _table(
    "containments",
    _key("press_id", sa.Integer),
    _key("containment_no", sa.Integer),
    _need("mold", sa.Text, server_default=""),
    _need("from_ms", Big),
    _need("to_ms", Big),
    # The interval of the estimated onset, where the shots told one.
    sa.Column("onset_low_ms", Big),
    sa.Column("onset_high_ms", Big),
    _need("why", sa.Text),
    _need("shots", Big),
    # Boxes, lots, serials and shifts, as JSON.
    _need("found_by", sa.Text),
    # 'held', 'sorted', 'released'
    _need("state", sa.Text),
    _need("held_by", sa.Text),
    _need("held_ms", Big),
    # 1 until it is released, NULL afterwards.
    sa.Column("open_mark", sa.Integer),
)

# What was done with them, each signed.
containment_steps = _table(
    "containment_steps",
    _key("press_id", sa.Integer),
    _key("containment_no", sa.Integer),
    _key("step_no", sa.Integer),
    # 'sorted', 'released'
    _need("action", sa.Text),
    _need("at_ms", Big),
    _need("who", sa.Text),
    sa.Column("parts_checked", Big),
    sa.Column("parts_bad", Big),
    _need("note", sa.Text, server_default=""),
)

sa.Index("ix_containments_open_mark", containments.c.open_mark)
