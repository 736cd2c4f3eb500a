"""Tables of studies being done at a press: sheets, their readings, photos, limits of weights."""

import sqlalchemy as sa

from server.store.table_base import Big, Real
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# Studies being done at a press: open while readings come in, one by one.
study_sheets = _table(
    "study_sheets",
    _key("press_id", sa.Integer),
    _key("sheet_no", sa.Integer),
    _need("kind", sa.Text),
    _need("mold", sa.Text, server_default=""),
    # 'open', 'kept', 'dropped'
    _need("state", sa.Text),
    _need("opened_ms", Big),
    _need("opened_by", sa.Text),
    # What was decided at the start (limit, resin, method, cautions confirmed), as JSON.
    _need("asked", sa.Text),
    sa.Column("closed_ms", Big),
    _need("closed_by", sa.Text, server_default=""),
    # The study it became, and the startup record that study stands beside.
    sa.Column("study_no", sa.Integer),
    sa.Column("baseline_no", sa.Integer),
)

study_readings = _table(
    "study_readings",
    _key("press_id", sa.Integer),
    _key("sheet_no", sa.Integer),
    _key("reading_no", sa.Integer),
    _need("series", sa.Text),
    _need("first", Real),
    # The other half of a pair, such as the position that goes with a time.
    sa.Column("second", Real),
    _need("at_ms", Big),
    _need("who", sa.Text),
    _need("source", sa.Text, server_default=""),
    # The sender's own mark of the reading, so that one sent twice counts once.
    sa.Column("mark", sa.Text),
    # Taken back, but not forgotten.
    sa.Column("withdrawn_ms", Big),
    _need("withdrawn_by", sa.Text, server_default=""),
    sa.UniqueConstraint("press_id", "sheet_no", "mark"),
)

study_photos = _table(
    "study_photos",
    _key("press_id", sa.Integer),
    _key("study_no", sa.Integer),
    _key("photo_no", sa.Integer),
    _need("caption", sa.Text, server_default=""),
    _need("width", sa.Integer),
    _need("height", sa.Integer),
    _need("bytes", sa.Integer),
    _need("at_ms", Big),
    _need("who", sa.Text),
    # JPEG, made anew from what was sent.
    _need("content", sa.LargeBinary),
)

# Limits on the percent variation of short shots. '' stands for every mold.
weight_limits = _table(
    "weight_limits",
    _key("mold", sa.Text),
    _key("process_class", sa.Text),
    _need("limit_pct", Real),
    _need("set_by", sa.Text),
    _need("set_ms", Big),
)
