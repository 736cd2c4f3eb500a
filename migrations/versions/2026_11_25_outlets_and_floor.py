"""Who is told about alarms, and what the floor keeps: ticks, hand-overs, commands carried out.

Reason: messages leave through routes people set, survive a restart while they are being sent, and are
given up in sight; ticks of next steps and hand-over notes belong to the plant, not to one browser; a
command that a tablet sends twice acts once.
"""

import sqlalchemy as sa
from alembic import op

revision = "outlets_and_floor"
down_revision = "score_grounds"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("outbox", sa.Column("claimed_ms", sa.BigInteger(), nullable=True))
    op.add_column("outbox", sa.Column("dead_ms", sa.BigInteger(), nullable=True))
    op.create_index("ix_outbox_next_try_ms", "outbox", ["next_try_ms"])
    op.create_index("ix_alarm_steps_at_ms", "alarm_steps", ["at_ms"])
    op.create_table(
        "outlet_routes",
        sa.Column("route_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("outlet", sa.Text(), nullable=False),
        sa.Column("recipient", sa.Text(), server_default="", nullable=False),
        sa.Column("area", sa.Text(), server_default="", nullable=False),
        sa.Column("urgency", sa.Text(), server_default="", nullable=False),
        sa.Column("shift", sa.Text(), server_default="", nullable=False),
        sa.Column("level", sa.Integer(), server_default="0", nullable=False),
        sa.Column("after_min", sa.Integer(), server_default="0", nullable=False),
        sa.Column("active", sa.Boolean(), server_default=sa.true(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("route_no", name=op.f("pk_outlet_routes")),
    )
    op.create_table(
        "command_keys",
        sa.Column("who", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("command_key", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("who", "command_key", name=op.f("pk_command_keys")),
    )
    op.create_table(
        "guidance_ticks",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("step", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("ticked", sa.Boolean(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "step", name=op.f("pk_guidance_ticks")),
    )
    op.create_table(
        "handovers",
        sa.Column("handover_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("shift", sa.Text(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("read_by", sa.Text(), nullable=True),
        sa.Column("read_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("handover_no", name=op.f("pk_handovers")),
    )


def downgrade() -> None:
    op.drop_table("handovers")
    op.drop_table("guidance_ticks")
    op.drop_table("command_keys")
    op.drop_table("outlet_routes")
    op.drop_index("ix_alarm_steps_at_ms", table_name="alarm_steps")
    op.drop_index("ix_outbox_next_try_ms", table_name="outbox")
    op.drop_column("outbox", "dead_ms")
    op.drop_column("outbox", "claimed_ms")
