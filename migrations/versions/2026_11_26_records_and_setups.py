"""Set-points people enter for a press, a mold and a material; why a startup record was approved or retired.

Reason: many presses do not report what they are set to, and a startup record that does not know it cannot
be told from one captured under other settings. Years later the name alone of who approved says little.
"""

import sqlalchemy as sa
from alembic import op

revision = "records_and_setups"
down_revision = "containments"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for name in ("approved_note", "retired_note"):
        op.add_column("baselines", sa.Column(name, sa.Text(), server_default="", nullable=False))
    op.create_table(
        "setpoint_entries",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("entry_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("material", sa.Text(), server_default="", nullable=False),
        sa.Column("setup", sa.Text(), server_default="", nullable=False),
        sa.Column("setpoints", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("entered_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "entry_no", name=op.f("pk_setpoint_entries")),
    )


def downgrade() -> None:
    op.drop_table("setpoint_entries")
    for name in ("approved_note", "retired_note"):
        op.drop_column("baselines", name)
