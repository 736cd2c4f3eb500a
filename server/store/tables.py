"""All tables. Every key of a growing table begins with the press; times are UTC milliseconds.

Milliseconds as BIGINT, not timestamps: the same bits on SQLite and PostgreSQL, range partitions by
month work on integers too, and no conversion stands between the driver and numpy.
"""

from typing import Any

import sqlalchemy as sa

from server.contract import SHOT_DOCUMENTS, SHOT_NUMBERS, SHOT_TEXTS

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

Big = sa.BigInteger
Real = sa.Double


def _table(
    name: str, *items: sa.schema.SchemaItem, rowid: bool = True, partition_by: str | None = None
) -> sa.Table:
    # WITHOUT ROWID clusters a table by its key: a press's stretch of time is read in one sweep.
    options: dict[str, Any] = {} if rowid else {"sqlite_with_rowid": False}
    if partition_by:
        options["postgresql_partition_by"] = partition_by
    return sa.Table(name, metadata, *items, **options)


def _key(name: str, kind: Any = Big) -> sa.Column[Any]:
    return sa.Column(name, kind, primary_key=True, autoincrement=False)


def _need(name: str, kind: Any, **more: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=False, **more)


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
    # 'shots', 'rewrite' (baseline, event or configuration) or 'rest' (an evaluation cut short).
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

# --- imports of files ---------------------------------------------------------------------------

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
    rowid=False,
)

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
)

# --- what people and alarms write -------------------------------------------------------------

baselines = _table(
    "baselines",
    _key("press_id", sa.Integer),
    _key("baseline_no", sa.Integer),
    _need("mold", sa.Text, server_default=""),
    _need("material", sa.Text, server_default=""),
    # NULL: one for every setup of this mold and material.
    sa.Column("setup", sa.Text),
    _need("from_ms", Big),
    _need("to_ms", Big),
    _need("shots", Big),
    # 'draft', 'approved', 'retired'
    _need("state", sa.Text),
    _need("signals", sa.Text),
    _need("note", sa.Text, server_default=""),
    _need("captured_by", sa.Text),
    _need("captured_ms", Big),
    sa.Column("approved_by", sa.Text),
    sa.Column("approved_ms", Big),
    sa.Column("retired_by", sa.Text),
    sa.Column("retired_ms", Big),
)

events = _table(
    "events",
    _key("press_id", sa.Integer),
    _key("at_ms"),
    _key("event_no"),
    _need("kind", sa.Text),
    _need("setting", sa.Text, server_default=""),
    _need("from_value", sa.Text, server_default=""),
    _need("to_value", sa.Text, server_default=""),
    _need("lot", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    _need("author", sa.Text),
    _need("recorded_ms", Big),
)

valves = _table(
    "valves",
    _key("press_id", sa.Integer),
    _key("valve_no", sa.Integer),
    _need("fitted_ms", Big),
    sa.Column("removed_ms", Big),
    _need("style", sa.Text),
    _need("part_number", sa.Text, server_default=""),
    _need("material_pair", sa.Text, server_default=""),
    sa.Column("nominal_clearance_mm", Real),
    sa.Column("shots_before", Big),
    _need("removed_reason", sa.Text, server_default=""),
    _need("found", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    _need("author", sa.Text),
)

studies = _table(
    "studies",
    _key("press_id", sa.Integer),
    _key("study_no", sa.Integer),
    _need("kind", sa.Text),
    _need("at_ms", Big),
    _need("mold", sa.Text, server_default=""),
    _need("asked", sa.Text),
    _need("result", sa.Text),
    _need("verdict", sa.Text),
    _need("author", sa.Text),
)

alarms = _table(
    "alarms",
    _key("press_id", sa.Integer),
    _key("alarm_no", sa.Integer),
    _need("kind", sa.Text),
    _need("state", sa.Text),
    _need("urgency", sa.Text),
    _need("cause", sa.Text, server_default=""),
    _need("opened_ms", Big),
    _need("since_ms", Big),
    sa.Column("ended_ms", Big),
    sa.Column("acknowledged_by", sa.Text),
    sa.Column("acknowledged_ms", Big),
    sa.Column("reason", sa.Text),
    _need("note", sa.Text, server_default=""),
    sa.Column("shelved_until_ms", Big),
    _need("active", sa.Boolean),
    # Numbers the words are made of, as JSON.
    _need("facts", sa.Text, server_default="{}"),
    # 1 while the alarm is open, NULL afterwards: at most one open alarm per press and kind.
    sa.Column("open_mark", sa.Integer),
    # Why it is kept from calling by design ('' for not), whether its kind is out of service, and
    # whether anybody was ever called.
    _need("suppressed_by", sa.Text, server_default=""),
    _need("out_of_service", sa.Boolean, server_default=sa.false()),
    _need("called", sa.Boolean, server_default=sa.true()),
    # Since when somebody is called without an answer, and the escalation level told since then.
    sa.Column("waiting_since_ms", Big),
    _need("escalated", sa.Integer, server_default="0"),
    sa.UniqueConstraint("press_id", "kind", "open_mark"),
)

# Kinds of alarm taken out of service on a press: by whom, why, until when.
alarm_stops = _table(
    "alarm_stops",
    _key("press_id", sa.Integer),
    _key("stop_no", sa.Integer),
    _need("kind", sa.Text),
    _need("from_ms", Big),
    _need("until_ms", Big),
    _need("who", sa.Text),
    _need("why", sa.Text),
    sa.Column("ended_ms", Big),
    _need("ended_by", sa.Text, server_default=""),
    # 1 while it holds, NULL afterwards: at most one per press and kind.
    sa.Column("open_mark", sa.Integer),
    sa.UniqueConstraint("press_id", "kind", "open_mark"),
)

alarm_steps = _table(
    "alarm_steps",
    _key("press_id", sa.Integer),
    _key("alarm_no", sa.Integer),
    _key("step", sa.Integer),
    _need("at_ms", Big),
    _need("action", sa.Text),
    _need("state", sa.Text),
    _need("who", sa.Text),
    _need("reason", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    sa.Column("idempotency_key", sa.Text),
)

outbox = _table(
    "outbox",
    _key("press_id", sa.Integer),
    _key("alarm_no", sa.Integer),
    _key("step", sa.Integer),
    _key("outlet", sa.Text),
    _key("recipient", sa.Text),
    _need("created_ms", Big),
    _need("tries", sa.Integer, server_default="0"),
    _need("next_try_ms", Big),
    sa.Column("delivered_ms", Big),
    _need("trouble", sa.Text, server_default=""),
    # Taken by a courier that is sending it; taken again when that courier never came back.
    sa.Column("claimed_ms", Big),
    # Given up after the last try.
    sa.Column("dead_ms", Big),
)

# Who is told about which alarms, by which outlet. '' stands for every area, urgency or shift.
outlet_routes = _table(
    "outlet_routes",
    _key("route_no", sa.Integer),
    _need("outlet", sa.Text),
    _need("recipient", sa.Text, server_default=""),
    _need("area", sa.Text, server_default=""),
    _need("urgency", sa.Text, server_default=""),
    _need("shift", sa.Text, server_default=""),
    # 0: told at once; 1 and more: told when nobody has answered for `after_min`.
    _need("level", sa.Integer, server_default="0"),
    _need("after_min", sa.Integer, server_default="0"),
    _need("active", sa.Boolean, server_default=sa.true()),
    _need("created_ms", Big),
)

# Commands carried out, so that one sent twice acts once.
command_keys = _table(
    "command_keys",
    _key("who", sa.Text),
    _key("command_key", sa.Text),
    _need("action", sa.Text),
    _need("subject", sa.Text),
    _need("at_ms", Big),
)

# Steps of the guidance somebody has ticked on a press.
guidance_ticks = _table(
    "guidance_ticks",
    _key("press_id", sa.Integer),
    _key("step", sa.Text),
    _need("ticked", sa.Boolean),
    _need("who", sa.Text),
    _need("at_ms", Big),
)

handovers = _table(
    "handovers",
    _key("handover_no", sa.Integer),
    _need("shift", sa.Text),
    _need("from_ms", Big),
    _need("at_ms", Big),
    _need("who", sa.Text),
    _need("note", sa.Text),
    # What opened, what was answered and what stayed open, as JSON.
    _need("summary", sa.Text),
    sa.Column("read_by", sa.Text),
    sa.Column("read_ms", Big),
)

audit = _table(
    "audit",
    _key("press_id", sa.Integer),
    _key("audit_no"),
    _need("at_ms", Big),
    _need("who", sa.Text),
    _need("action", sa.Text),
    _need("subject", sa.Text),
    sa.Column("before", sa.Text),
    sa.Column("after", sa.Text),
    # Place in the chain of the press, the seal over this row and the one before, and with which key.
    # NULL: written before there were seals, and not sealed yet.
    sa.Column("seq", Big),
    sa.Column("seal", sa.LargeBinary),
    _need("key_id", sa.Text, server_default=""),
)

# Where each chain stands. Its row is locked while a link is added, so that no chain forks.
audit_heads = _table(
    "audit_heads",
    _key("press_id", sa.Integer),
    _need("seq", Big),
    _need("seal", sa.LargeBinary),
    _need("key_id", sa.Text),
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

sa.Index("ix_alarms_open_mark", alarms.c.open_mark)
sa.Index("ix_alarm_steps_at_ms", alarm_steps.c.at_ms)
sa.Index("ix_outbox_next_try_ms", outbox.c.next_try_ms)
sa.Index("ix_audit_press_id_seq", audit.c.press_id, audit.c.seq, unique=True)
sa.Index("ix_audit_at_ms", audit.c.at_ms)
sa.Index("ix_sessions_person_id", sessions.c.person_id)
sa.Index("ix_quarantine_arrived_ms", quarantine.c.arrived_ms)
sa.Index("ix_import_pieces_import_no", import_pieces.c.import_no)

#: Tables spread by press and those every node holds whole.
REFERENCE_TABLES = (
    "presses",
    "molds",
    "people",
    "sessions",
    "tablets",
    "device_keys",
    "plant_settings",
    "outlet_routes",
    "command_keys",
    "handovers",
    "imports",
    "import_mappings",
    "sources",
)
