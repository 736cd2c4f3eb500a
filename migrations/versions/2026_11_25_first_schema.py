"""The first schema: plant, shots, evaluation, alarms, records.

Reason: everything the first release keeps. Every key of a growing table begins with the press, so
that shots can be partitioned by month and spread by press later without a rewrite.
"""

import sqlalchemy as sa
from alembic import op

revision = "first_schema"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alarm_steps",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("alarm_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("step", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("idempotency_key", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "alarm_no", "step", name=op.f("pk_alarm_steps")),
    )
    op.create_table(
        "alarms",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("alarm_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("urgency", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), server_default="", nullable=False),
        sa.Column("opened_ms", sa.BigInteger(), nullable=False),
        sa.Column("since_ms", sa.BigInteger(), nullable=False),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("acknowledged_by", sa.Text(), nullable=True),
        sa.Column("acknowledged_ms", sa.BigInteger(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("shelved_until_ms", sa.BigInteger(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("facts", sa.Text(), server_default="{}", nullable=False),
        sa.Column("open_mark", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "alarm_no", name=op.f("pk_alarms")),
        sa.UniqueConstraint("press_id", "kind", "open_mark", name=op.f("uq_alarms_press_id_kind_open_mark")),
    )
    with op.batch_alter_table("alarms", schema=None) as batch_op:
        batch_op.create_index("ix_alarms_open_mark", ["open_mark"], unique=False)

    op.create_table(
        "audit",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("audit_no", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "audit_no", name=op.f("pk_audit")),
    )
    op.create_table(
        "baselines",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("baseline_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("material", sa.Text(), server_default="", nullable=False),
        sa.Column("setup", sa.Text(), nullable=True),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=False),
        sa.Column("shots", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("signals", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("captured_by", sa.Text(), nullable=False),
        sa.Column("captured_ms", sa.BigInteger(), nullable=False),
        sa.Column("approved_by", sa.Text(), nullable=True),
        sa.Column("approved_ms", sa.BigInteger(), nullable=True),
        sa.Column("retired_by", sa.Text(), nullable=True),
        sa.Column("retired_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "baseline_no", name=op.f("pk_baselines")),
    )
    op.create_table(
        "checkpoints",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("counter", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("ordinal", sa.BigInteger(), nullable=False),
        sa.Column("codec", sa.Integer(), nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "at_ms", "counter", name=op.f("pk_checkpoints")),
    )
    op.create_table(
        "device_keys",
        sa.Column("key_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.LargeBinary(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("press", sa.Text(), server_default="", nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("last_used_ms", sa.BigInteger(), nullable=True),
        sa.Column("revoked_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("key_id", name=op.f("pk_device_keys")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_device_keys_token_hash")),
    )
    op.create_table(
        "events",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("event_no", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("setting", sa.Text(), server_default="", nullable=False),
        sa.Column("from_value", sa.Text(), server_default="", nullable=False),
        sa.Column("to_value", sa.Text(), server_default="", nullable=False),
        sa.Column("lot", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("recorded_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "at_ms", "event_no", name=op.f("pk_events")),
    )
    op.create_table(
        "findings",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("from_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("from_counter", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("signal", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("rule", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("baseline_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_counter", sa.BigInteger(), nullable=False),
        sa.Column("marks", sa.BigInteger(), nullable=False),
        sa.Column("extreme", sa.Double(), nullable=True),
        sa.PrimaryKeyConstraint(
            "press_id", "from_ms", "from_counter", "signal", "rule", "baseline_no", name=op.f("pk_findings")
        ),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "intake",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("batch_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("earliest_ms", sa.BigInteger(), nullable=False),
        sa.Column("shots", sa.BigInteger(), nullable=False),
        sa.Column("arrived_ms", sa.BigInteger(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "batch_id", name=op.f("pk_intake")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "molds",
        sa.Column("mold_id", sa.Integer(), nullable=False),
        sa.Column("mold", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), server_default="", nullable=False),
        sa.Column("cavities", sa.Integer(), nullable=True),
        sa.Column("demand", sa.Text(), server_default="{}", nullable=False),
        sa.Column("limits", sa.Text(), server_default="{}", nullable=False),
        sa.Column("details", sa.Text(), server_default="{}", nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("mold_id", name=op.f("pk_molds")),
        sa.UniqueConstraint("mold", name=op.f("uq_molds_mold")),
    )
    op.create_table(
        "outbox",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("alarm_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("step", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("outlet", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("recipient", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("tries", sa.Integer(), server_default="0", nullable=False),
        sa.Column("next_try_ms", sa.BigInteger(), nullable=False),
        sa.Column("delivered_ms", sa.BigInteger(), nullable=True),
        sa.Column("trouble", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint(
            "press_id", "alarm_no", "step", "outlet", "recipient", name=op.f("pk_outbox")
        ),
    )
    op.create_table(
        "people",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("full_name", sa.Text(), server_default="", nullable=False),
        sa.Column("mail", sa.Text(), server_default="", nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("must_change", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("active", sa.Boolean(), server_default=sa.true(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_people")),
        sa.UniqueConstraint("name", name=op.f("uq_people_name")),
    )
    op.create_table(
        "plant_settings",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_plant_settings")),
    )
    op.create_table(
        "press_states",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("last_shot_ms", sa.BigInteger(), nullable=True),
        sa.Column("last_counter", sa.BigInteger(), nullable=True),
        sa.Column("last_arrival_ms", sa.BigInteger(), nullable=True),
        sa.Column("evaluated_ms", sa.BigInteger(), nullable=True),
        sa.Column("mold", sa.Text(), nullable=True),
        sa.Column("material", sa.Text(), nullable=True),
        sa.Column("setup", sa.Text(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("box", sa.Text(), nullable=True),
        sa.Column("dose_lag", sa.Integer(), server_default="0", nullable=False),
        sa.Column("cycle_ms", sa.Double(), nullable=True),
        sa.Column("baseline_no", sa.Integer(), nullable=True),
        sa.Column("leak_status", sa.Text(), server_default="no_baseline", nullable=False),
        sa.Column("score_ms", sa.BigInteger(), nullable=True),
        sa.Column("log_odds", sa.Double(), nullable=True),
        sa.Column("prior_log_odds", sa.Double(), nullable=True),
        sa.Column("terms", sa.LargeBinary(), nullable=True),
        sa.Column("causes", sa.LargeBinary(), nullable=True),
        sa.Column("facts", sa.LargeBinary(), nullable=True),
        sa.Column("missing", sa.Text(), nullable=True),
        sa.Column("bottoming_since_ms", sa.BigInteger(), nullable=True),
        sa.Column("trouble", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", name=op.f("pk_press_states")),
    )
    op.create_table(
        "presses",
        sa.Column("press_id", sa.Integer(), nullable=False),
        sa.Column("press", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), server_default="", nullable=False),
        sa.Column("area", sa.Text(), server_default="", nullable=False),
        sa.Column("accepted", sa.Boolean(), server_default=sa.true(), nullable=False),
        sa.Column("screw_diameter_mm", sa.Double(), nullable=True),
        sa.Column("valve_style", sa.Text(), server_default="sliding_ring", nullable=False),
        sa.Column("pressure_basis", sa.Text(), server_default="specific", nullable=False),
        sa.Column("intensification", sa.Double(), nullable=True),
        sa.Column("cushion_definition", sa.Text(), server_default="end_of_hold", nullable=False),
        sa.Column("dose_lag", sa.Integer(), nullable=True),
        sa.Column("bottom_mm", sa.Double(), nullable=True),
        sa.Column("silent_after_s", sa.Double(), nullable=True),
        sa.Column("details", sa.Text(), server_default="{}", nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", name=op.f("pk_presses")),
        sa.UniqueConstraint("press", name=op.f("uq_presses_press")),
    )
    op.create_table(
        "quarantine",
        sa.Column("press", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("row_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("arrived_ms", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), server_default="", nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("raw", sa.Text(), nullable=False),
        sa.Column("replayable", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("press", "row_id", name=op.f("pk_quarantine")),
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("quarantine", schema=None) as batch_op:
        batch_op.create_index("ix_quarantine_arrived_ms", ["arrived_ms"], unique=False)

    op.create_table(
        "rollups",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("grain", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("bucket_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("setup_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("signal", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("n", sa.BigInteger(), nullable=False),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("m2", sa.Double(), nullable=False),
        sa.Column("low", sa.Double(), nullable=False),
        sa.Column("high", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint(
            "press_id", "grain", "bucket_ms", "setup_id", "signal", name=op.f("pk_rollups")
        ),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "scores",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("counter", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("model_version", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("ordinal", sa.BigInteger(), nullable=False),
        sa.Column("baseline_no", sa.Integer(), nullable=False),
        sa.Column("log_odds", sa.Double(), nullable=False),
        sa.Column("prior_log_odds", sa.Double(), nullable=False),
        sa.Column("terms", sa.LargeBinary(), nullable=False),
        sa.Column("causes", sa.LargeBinary(), nullable=False),
        sa.Column("facts", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "at_ms", "counter", "model_version", name=op.f("pk_scores")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.LargeBinary(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("seen_ms", sa.BigInteger(), nullable=False),
        sa.Column("ends_ms", sa.BigInteger(), nullable=False),
        sa.Column("revoked_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("token_hash", name=op.f("pk_sessions")),
    )
    op.create_table(
        "setups",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("setup_id", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("material", sa.Text(), server_default="", nullable=False),
        sa.Column("setup", sa.Text(), server_default="", nullable=False),
        sa.Column("setpoints", sa.Text(), server_default="{}", nullable=False),
        sa.Column("first_seen_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "setup_id", name=op.f("pk_setups")),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "shots",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("counter", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("setup_id", sa.BigInteger(), nullable=False),
        sa.Column("shot_size_mm", sa.Double(), nullable=True),
        sa.Column("shot_size_cm3", sa.Double(), nullable=True),
        sa.Column("cushion_mm", sa.Double(), nullable=True),
        sa.Column("cushion_cm3", sa.Double(), nullable=True),
        sa.Column("decompression_mm", sa.Double(), nullable=True),
        sa.Column("start_position_mm", sa.Double(), nullable=True),
        sa.Column("transfer_position_mm", sa.Double(), nullable=True),
        sa.Column("minimum_position_mm", sa.Double(), nullable=True),
        sa.Column("drift_mm", sa.Double(), nullable=True),
        sa.Column("transfer_pressure_bar", sa.Double(), nullable=True),
        sa.Column("peak_pressure_bar", sa.Double(), nullable=True),
        sa.Column("hold_pressure_bar", sa.Double(), nullable=True),
        sa.Column("back_pressure_bar", sa.Double(), nullable=True),
        sa.Column("fill_time_s", sa.Double(), nullable=True),
        sa.Column("hold_time_s", sa.Double(), nullable=True),
        sa.Column("recovery_time_s", sa.Double(), nullable=True),
        sa.Column("cycle_time_s", sa.Double(), nullable=True),
        sa.Column("screw_speed_rpm", sa.Double(), nullable=True),
        sa.Column("injection_speed_mm_s", sa.Double(), nullable=True),
        sa.Column("screw_torque_pct", sa.Double(), nullable=True),
        sa.Column("melt_temp_c", sa.Double(), nullable=True),
        sa.Column("oil_temp_c", sa.Double(), nullable=True),
        sa.Column("part_weight_g", sa.Double(), nullable=True),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("quality", sa.Text(), nullable=True),
        sa.Column("box", sa.Text(), nullable=True),
        sa.Column("serial", sa.Text(), nullable=True),
        sa.Column("zone_temps_c", sa.Text(), nullable=True),
        sa.Column("curve", sa.Text(), nullable=True),
        sa.Column("extra", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "at_ms", "counter", name=op.f("pk_shots")),
        postgresql_partition_by="RANGE (at_ms)",
        sqlite_with_rowid=False,
    )
    op.create_table(
        "studies",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("study_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "study_no", name=op.f("pk_studies")),
    )
    op.create_table(
        "valves",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valve_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("fitted_ms", sa.BigInteger(), nullable=False),
        sa.Column("removed_ms", sa.BigInteger(), nullable=True),
        sa.Column("style", sa.Text(), nullable=False),
        sa.Column("part_number", sa.Text(), server_default="", nullable=False),
        sa.Column("material_pair", sa.Text(), server_default="", nullable=False),
        sa.Column("nominal_clearance_mm", sa.Double(), nullable=True),
        sa.Column("shots_before", sa.BigInteger(), nullable=True),
        sa.Column("removed_reason", sa.Text(), server_default="", nullable=False),
        sa.Column("found", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "valve_no", name=op.f("pk_valves")),
    )
    if op.get_bind().dialect.name == "postgresql":
        # Imported history of any age has a home; months are made ahead beside it.
        op.execute("CREATE TABLE shots_other PARTITION OF shots DEFAULT")


def downgrade() -> None:
    op.drop_table("valves")
    op.drop_table("studies")
    op.drop_table("shots")
    op.drop_table("setups")
    op.drop_table("sessions")
    op.drop_table("scores")
    op.drop_table("rollups")
    with op.batch_alter_table("quarantine", schema=None) as batch_op:
        batch_op.drop_index("ix_quarantine_arrived_ms")

    op.drop_table("quarantine")
    op.drop_table("presses")
    op.drop_table("press_states")
    op.drop_table("plant_settings")
    op.drop_table("people")
    op.drop_table("outbox")
    op.drop_table("molds")
    op.drop_table("intake")
    op.drop_table("findings")
    op.drop_table("events")
    op.drop_table("device_keys")
    op.drop_table("checkpoints")
    op.drop_table("baselines")
    op.drop_table("audit")
    with op.batch_alter_table("alarms", schema=None) as batch_op:
        batch_op.drop_index("ix_alarms_open_mark")

    op.drop_table("alarms")
    op.drop_table("alarm_steps")
