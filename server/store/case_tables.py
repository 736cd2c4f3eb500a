"""Tables of what ties the work on one press together: cases, their notes and actions."""

import sqlalchemy as sa

from server.store.table_base import Big
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# One suspicion on one press, from the first doubt to the verdict.
cases = _table(
    "cases",
    _key("press_id", sa.Integer),
    _key("case_no", sa.Integer),
    _need("about", sa.Text, server_default=""),
    # Since when it is suspected; everything on the press from then on belongs to the story.
    _need("onset_ms", Big),
    _need("opened_ms", Big),
    _need("opened_by", sa.Text),
    sa.Column("alarm_no", sa.Integer),
    # What ran and what was fitted as it was opened: by these it is found again.
    _need("mold", sa.Text, server_default=""),
    _need("material", sa.Text, server_default=""),
    _need("valve_style", sa.Text, server_default=""),
    sa.Column("valve_no", sa.Integer),
    _need("owner", sa.Text, server_default=""),
    sa.Column("closed_ms", Big),
    sa.Column("closed_by", sa.Text),
    # 'fixed', 'better', 'no_change', 'worse', 'cannot_say'; '' while it is open.
    _need("verdict", sa.Text, server_default=""),
    _need("closing_note", sa.Text, server_default=""),
    # The action the verdict is about, and the comparison it rests on as it stood then, as JSON.
    sa.Column("action_no", sa.Integer),
    _need("evidence", sa.Text, server_default="{}"),
    # 1 while it is open, NULL afterwards: at most one open case per press.
    sa.Column("open_mark", sa.Integer),
    sa.UniqueConstraint("press_id", "open_mark"),
)

case_notes = _table(
    "case_notes",
    _key("press_id", sa.Integer),
    _key("case_no", sa.Integer),
    _key("note_no", sa.Integer),
    _need("at_ms", Big),
    _need("who", sa.Text),
    _need("note", sa.Text),
)

# What was done about it; each opens a comparison of the shots before and after.
case_actions = _table(
    "case_actions",
    _key("press_id", sa.Integer),
    _key("case_no", sa.Integer),
    _key("action_no", sa.Integer),
    # 'setting', 'material', 'hardware', 'valve'
    _need("kind", sa.Text),
    _need("at_ms", Big),
    _need("event_no", Big),
    # The valve that went, where the ledger knows it.
    sa.Column("valve_no", sa.Integer),
    _need("what", sa.Text, server_default=""),
    _need("who", sa.Text),
    _need("recorded_ms", Big),
)

sa.Index("ix_cases_open_mark", cases.c.open_mark)

# A trial of one setting: its levels in a planned order, watched by the shots that come in meanwhile.
setting_trials = _table(
    "setting_trials",
    _key("press_id", sa.Integer),
    _key("trial_no", sa.Integer),
    _need("setting", sa.Text),
    _need("unit", sa.Text, server_default=""),
    _need("signal", sa.Text),
    # Levels as people write them, as a JSON list, and which of them is today's.
    _need("levels", sa.Text),
    _need("today", sa.Integer),
    _need("shots_per_level", sa.Integer),
    _need("settling", sa.Integer),
    # 'randomised' or 'stepped', the seed of the chance, and the order that came of it, as a JSON list.
    _need("ordering", sa.Text),
    _need("seed", Big),
    _need("plan", sa.Text),
    _need("planned_ms", Big),
    _need("planned_by", sa.Text),
    _need("note", sa.Text, server_default=""),
    sa.Column("case_no", sa.Integer),
    sa.Column("ended_ms", Big),
    sa.Column("ended_by", sa.Text),
    # 'decided', 'complete', 'stopped'; '' while it runs.
    _need("ended_as", sa.Text, server_default=""),
    sa.Column("kept_level", sa.Integer),
    _need("result", sa.Text, server_default="{}"),
    # 1 while it runs, NULL afterwards: at most one trial per press.
    sa.Column("open_mark", sa.Integer),
    sa.UniqueConstraint("press_id", "open_mark"),
)

# Each time a level was set, and in how many of its shots somebody saw splay.
trial_steps = _table(
    "trial_steps",
    _key("press_id", sa.Integer),
    _key("trial_no", sa.Integer),
    _key("step_no", sa.Integer),
    _need("level", sa.Integer),
    _need("at_ms", Big),
    _need("who", sa.Text),
    sa.Column("splay", sa.Integer),
)

# How hard a material is on a valve, as the plant says.
material_wear = _table(
    "material_wear",
    _key("material", sa.Text),
    # 'mild', 'some', 'strong'
    _need("wear", sa.Text),
    _need("who", sa.Text),
    _need("at_ms", Big),
)

# Valves on the shelf, and how long another takes to come.
spares = _table(
    "spares",
    _key("spare_no", sa.Integer),
    _need("part_number", sa.Text),
    _need("style", sa.Text),
    _need("material_pair", sa.Text, server_default=""),
    _need("on_hand", sa.Integer),
    sa.Column("lead_days", sa.Double),
    _need("place", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    _need("who", sa.Text),
    _need("at_ms", Big),
)
