"""All tables. Every key of a growing table begins with the press; times are UTC milliseconds.

Milliseconds as BIGINT, not timestamps: the same bits on SQLite and PostgreSQL, range partitions by
month work on integers too, and no conversion stands between the driver and numpy.
"""

import sqlalchemy as sa

from server.contract import SHOT_DOCUMENTS, SHOT_NUMBERS, SHOT_TEXTS
from server.store.case_tables import case_actions as case_actions
from server.store.case_tables import case_notes as case_notes
from server.store.case_tables import cases as cases
from server.store.case_tables import material_wear as material_wear
from server.store.case_tables import setting_trials as setting_trials
from server.store.case_tables import spares as spares
from server.store.case_tables import trial_steps as trial_steps
from server.store.containment_tables import containment_steps as containment_steps
from server.store.containment_tables import containments as containments
from server.store.import_tables import import_holds as import_holds
from server.store.import_tables import import_mappings as import_mappings
from server.store.import_tables import import_pieces as import_pieces
from server.store.import_tables import imports as imports
from server.store.mold_tables import mold_versions as mold_versions
from server.store.record_tables import alarm_steps as alarm_steps
from server.store.record_tables import alarm_stops as alarm_stops
from server.store.record_tables import alarms as alarms
from server.store.record_tables import audit as audit
from server.store.record_tables import audit_heads as audit_heads
from server.store.record_tables import baselines as baselines
from server.store.record_tables import command_keys as command_keys
from server.store.record_tables import events as events
from server.store.record_tables import guidance_ticks as guidance_ticks
from server.store.record_tables import handovers as handovers
from server.store.record_tables import outbox as outbox
from server.store.record_tables import outlet_routes as outlet_routes
from server.store.record_tables import studies as studies
from server.store.record_tables import thinnings as thinnings
from server.store.record_tables import valves as valves
from server.store.report_tables import reports as reports
from server.store.setup_tables import setpoint_entries as setpoint_entries
from server.store.study_tables import study_photos as study_photos
from server.store.study_tables import study_readings as study_readings
from server.store.study_tables import study_sheets as study_sheets
from server.store.study_tables import weight_limits as weight_limits
from server.store.table_base import Big, Real
from server.store.table_base import key as _key
from server.store.table_base import metadata as metadata
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# --- small reference tables -----------------------------------------------------------------

presses = _table(
    "presses",
    sa.Column("press_id", sa.Integer, primary_key=True),
    _need("press", sa.Text, unique=True),
    _need("name", sa.Text, server_default=""),
    _need("area", sa.Text, server_default=""),
    _need("accepted", sa.Boolean, server_default=sa.true()),
    sa.Column("screw_diameter_mm", Real),
    _need("valve_style", sa.Text, server_default="sliding_ring"),
    _need("pressure_basis", sa.Text, server_default="specific"),
    sa.Column("intensification", Real),
    _need("cushion_definition", sa.Text, server_default="end_of_hold"),
    sa.Column("dose_lag", sa.Integer),
    sa.Column("bottom_mm", Real),
    sa.Column("silent_after_s", Real),
    _need("details", sa.Text, server_default="{}"),
    _need("created_ms", Big),
)

molds = _table(
    "molds",
    sa.Column("mold_id", sa.Integer, primary_key=True),
    _need("mold", sa.Text, unique=True),
    _need("part", sa.Text, server_default=""),
    sa.Column("cavities", sa.Integer),
    _need("demand", sa.Text, server_default="{}"),
    _need("limits", sa.Text, server_default="{}"),
    _need("details", sa.Text, server_default="{}"),
    _need("created_ms", Big),
)

people = _table(
    "people",
    sa.Column("person_id", sa.Integer, primary_key=True),
    _need("name", sa.Text, unique=True),
    _need("role", sa.Text),
    _need("full_name", sa.Text, server_default=""),
    _need("mail", sa.Text, server_default=""),
    _need("password_hash", sa.Text),
    _need("must_change", sa.Boolean, server_default=sa.false()),
    _need("active", sa.Boolean, server_default=sa.true()),
    _need("created_ms", Big),
    # Areas whose presses this person may act on, as a JSON list; empty: all.
    _need("areas", sa.Text, server_default="[]"),
    # For shared tablets: a short number, and how often in a row it was wrong.
    sa.Column("pin_hash", sa.Text),
    _need("pin_wrong", sa.Integer, server_default="0"),
    # Until when a password that was given out once opens anything; NULL: it is one's own.
    sa.Column("one_time_ends_ms", Big),
    # Units and language of one's own as JSON; empty: as the plant says.
    _need("preferences", sa.Text, server_default="{}"),
)

sessions = _table(
    "sessions",
    sa.Column("token_hash", sa.LargeBinary, primary_key=True),
    _need("person_id", sa.Integer),
    _need("created_ms", Big),
    _need("seen_ms", Big),
    _need("ends_ms", Big),
    sa.Column("revoked_ms", Big),
    # Ends after so long without anybody touching anything; NULL: only with its time.
    sa.Column("idle_ms", Big),
    # Opened with the short number on a shared tablet; then it may do less.
    sa.Column("tablet_id", sa.Integer),
    _need("by_pin", sa.Boolean, server_default=sa.false()),
    _need("agent", sa.Text, server_default=""),
    _need("address", sa.Text, server_default=""),
)

# Tablets several people use in turn.
tablets = _table(
    "tablets",
    sa.Column("tablet_id", sa.Integer, primary_key=True),
    _need("token_hash", sa.LargeBinary, unique=True),
    _need("name", sa.Text),
    _need("created_by", sa.Text),
    _need("created_ms", Big),
    sa.Column("last_used_ms", Big),
    sa.Column("revoked_ms", Big),
)

device_keys = _table(
    "device_keys",
    sa.Column("key_id", sa.Integer, primary_key=True),
    _need("token_hash", sa.LargeBinary, unique=True),
    _need("name", sa.Text),
    # Empty: every press.
    _need("press", sa.Text, server_default=""),
    _need("scopes", sa.Text),
    _need("created_ms", Big),
    sa.Column("last_used_ms", Big),
    sa.Column("revoked_ms", Big),
    # When it stops by itself: an old key beside its successor.
    sa.Column("ends_ms", Big),
    # The key this one takes over from.
    sa.Column("replaces", sa.Integer),
    _need("created_by", sa.Text, server_default=""),
)

plant_settings = _table(
    "plant_settings",
    sa.Column("name", sa.Text, primary_key=True),
    _need("value", sa.Text),
)

# --- shots ------------------------------------------------------------------------------------

setups = _table(
    "setups",
    _key("press_id", sa.Integer),
    # A digest of the content, so that the same set-up has the same id in any order of arrival.
    _key("setup_id"),
    _need("mold", sa.Text, server_default=""),
    _need("material", sa.Text, server_default=""),
    _need("setup", sa.Text, server_default=""),
    _need("setpoints", sa.Text, server_default="{}"),
    _need("first_seen_ms", Big),
    rowid=False,
)

shots = _table(
    "shots",
    _key("press_id", sa.Integer),
    _key("at_ms"),
    _key("counter"),
    _need("setup_id", Big),
    *(sa.Column(name, Real) for name in SHOT_NUMBERS),
    *(sa.Column(name, sa.Text) for name in SHOT_TEXTS),
    *(sa.Column(name, sa.Text) for name in SHOT_DOCUMENTS),
    rowid=False,
    partition_by="RANGE (at_ms)",
)

intake = _table(
    "intake",
    _key("press_id", sa.Integer),
    _key("batch_id"),
    _need("earliest_ms", Big),
    _need("shots", Big),
    _need("arrived_ms", Big),
    # 'shots', 'rewrite' (baseline, event or configuration), 'rest' (an evaluation cut short) or 'rebuild'.
    _need("reason", sa.Text),
    rowid=False,
)

quarantine = _table(
    "quarantine",
    _key("press", sa.Text),
    _key("row_id"),
    _need("arrived_ms", Big),
    # 'rejected', 'conflict', 'unknown_press' or 'poison'
    _need("kind", sa.Text),
    _need("field", sa.Text, server_default=""),
    _need("code", sa.Text),
    _need("message", sa.Text),
    _need("raw", sa.Text),
    _need("replayable", sa.Boolean, server_default=sa.false()),
    _need("source", sa.Text, server_default=""),
    # Of an import: its row within the file.
    sa.Column("row_no", Big),
    rowid=False,
)

# The press's clock against the server's: the shortest time a live shot took, by day.
clock_readings = _table(
    "clock_readings",
    _key("press_id", sa.Integer),
    _key("day"),
    _need("readings", Big),
    _need("least_lag_ms", Big),
    rowid=False,
)

# --- what evaluation writes -------------------------------------------------------------------

checkpoints = _table(
    "checkpoints",
    _key("press_id", sa.Integer),
    _key("at_ms"),
    _key("counter"),
    _need("ordinal", Big),
    _need("codec", sa.Integer),
    _need("state", sa.LargeBinary),
)

findings = _table(
    "findings",
    _key("press_id", sa.Integer),
    _key("from_ms"),
    _key("from_counter"),
    _key("signal", sa.Text),
    _key("rule", sa.Text),
    _key("baseline_no", sa.Integer),
    _need("to_ms", Big),
    _need("to_counter", Big),
    _need("marks", Big),
    sa.Column("extreme", Real),
    rowid=False,
)

scores = _table(
    "scores",
    _key("press_id", sa.Integer),
    _key("at_ms"),
    _key("counter"),
    _key("model_version", sa.Text),
    _need("ordinal", Big),
    _need("baseline_no", sa.Integer),
    _need("log_odds", Real),
    _need("prior_log_odds", Real),
    # Little-endian doubles: evidence terms, causes, facts, in the model's order.
    _need("terms", sa.LargeBinary),
    _need("causes", sa.LargeBinary),
    _need("facts", sa.LargeBinary),
    rowid=False,
)

rollups = _table(
    "rollups",
    _key("press_id", sa.Integer),
    _key("grain", sa.Integer),
    _key("bucket_ms"),
    _key("setup_id"),
    _key("signal", sa.Text),
    _need("n", Big),
    _need("mean", Real),
    _need("m2", Real),
    _need("low", Real),
    _need("high", Real),
    # See maths/quantile_sketch.py; absent where it is not known, and of the newest hour and day.
    sa.Column("sketch", sa.LargeBinary),
    rowid=False,
    partition_by="RANGE (bucket_ms)",
)

# One row a press to lock for as long as somebody works on it; see store/turns.py.
press_turns = _table("press_turns", _key("press_id", sa.Integer), rowid=False)

press_states = _table(
    "press_states",
    _key("press_id", sa.Integer),
    sa.Column("last_shot_ms", Big),
    sa.Column("last_counter", Big),
    sa.Column("last_arrival_ms", Big),
    sa.Column("evaluated_ms", Big),
    sa.Column("mold", sa.Text),
    sa.Column("material", sa.Text),
    sa.Column("setup", sa.Text),
    sa.Column("lot", sa.Text),
    sa.Column("box", sa.Text),
    _need("dose_lag", sa.Integer, server_default="0"),
    sa.Column("cycle_ms", Real),
    sa.Column("baseline_no", sa.Integer),
    _need("leak_status", sa.Text, server_default="no_baseline"),
    sa.Column("score_ms", Big),
    sa.Column("log_odds", Real),
    sa.Column("prior_log_odds", Real),
    sa.Column("prior_parts", sa.Text),
    sa.Column("terms", sa.LargeBinary),
    sa.Column("causes", sa.LargeBinary),
    sa.Column("facts", sa.LargeBinary),
    sa.Column("missing", sa.Text),
    sa.Column("bottoming_since_ms", Big),
    # How the charts within the alarm budget stand, as a document.
    sa.Column("watching", sa.Text),
    # Why alarms of this press are held back; NULL: they are not.
    sa.Column("held_back", sa.Text),
    sa.Column("trouble", sa.Text),
    # Up to which shot's time alarms have reacted; NULL: to none yet.
    sa.Column("alarms_seen_ms", Big),
)

# --- what collectors say of themselves --------------------------------------------------------

sources = _table(
    "sources",
    sa.Column("name", sa.Text, primary_key=True),
    _need("kind", sa.Text),
    _need("reported_by", sa.Text),
    _need("reported_ms", Big),
    # JSON: its presses, spool, sending; see record/sources.py.
    _need("report", sa.Text),
)

sa.Index("ix_sessions_person_id", sessions.c.person_id)
sa.Index("ix_quarantine_arrived_ms", quarantine.c.arrived_ms)
sa.Index("ix_quarantine_kind_press", quarantine.c.kind, quarantine.c.press)

#: Tables spread by press and those every node holds whole.
REFERENCE_TABLES = (
    "presses",
    "molds",
    "mold_versions",
    "reports",
    "people",
    "sessions",
    "tablets",
    "device_keys",
    "plant_settings",
    "outlet_routes",
    "command_keys",
    "handovers",
    "imports",
    "import_holds",
    "import_mappings",
    "sources",
    "weight_limits",
    "spares",
    "material_wear",
)
