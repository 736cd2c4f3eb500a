"""Suspect parts as a record: held, sorted, released, each signed.

Reason: the page listed what an open alarm makes suspect, and nobody could say a week later which boxes were
held, what sorting had found and who let them go.
"""

import sqlalchemy as sa
from alembic import op

revision = "containments"
down_revision = "import_holds"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "containments",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("containment_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=False),
        sa.Column("onset_low_ms", sa.BigInteger(), nullable=True),
        sa.Column("onset_high_ms", sa.BigInteger(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("shots", sa.BigInteger(), nullable=False),
        sa.Column("found_by", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("held_by", sa.Text(), nullable=False),
        sa.Column("held_ms", sa.BigInteger(), nullable=False),
        sa.Column("open_mark", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "containment_no", name=op.f("pk_containments")),
    )
    op.create_index("ix_containments_open_mark", "containments", ["open_mark"])
    op.create_table(
        "containment_steps",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("containment_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("step_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("parts_checked", sa.BigInteger(), nullable=True),
        sa.Column("parts_bad", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("press_id", "containment_no", "step_no", name=op.f("pk_containment_steps")),
    )


def downgrade() -> None:
    op.drop_table("containment_steps")
    op.drop_table("containments")
