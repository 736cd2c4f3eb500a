"""What keeps an alarm from calling: suppression by design, out of service; and since when it waits.

Reason: an alarm under a mold change or of a kind out of service stays in sight without calling, and
escalation counts from the moment somebody is called, which the state alone does not tell.
"""

import sqlalchemy as sa
from alembic import op

revision = "alarm_life"
down_revision = "first_schema"
branch_labels = None
depends_on = None


def _added() -> list[sa.Column[object]]:
    return [
        sa.Column("suppressed_by", sa.Text(), server_default="", nullable=False),
        sa.Column("out_of_service", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.Column("called", sa.Boolean(), server_default=sa.true(), nullable=False),
        sa.Column("waiting_since_ms", sa.BigInteger(), nullable=True),
        sa.Column("escalated", sa.Integer(), server_default="0", nullable=False),
    ]


def upgrade() -> None:
    for column in _added():
        op.add_column("alarms", column)
    op.execute(
        "UPDATE alarms SET waiting_since_ms = since_ms"
        " WHERE state IN ('unacknowledged', 'returned_unacknowledged')"
    )
    op.create_table(
        "alarm_stops",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("stop_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("ended_by", sa.Text(), server_default="", nullable=False),
        sa.Column("open_mark", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "stop_no", name=op.f("pk_alarm_stops")),
        sa.UniqueConstraint(
            "press_id", "kind", "open_mark", name=op.f("uq_alarm_stops_press_id_kind_open_mark")
        ),
    )


def downgrade() -> None:
    op.drop_table("alarm_stops")
    for column in reversed(_added()):
        op.drop_column("alarms", column.name)
