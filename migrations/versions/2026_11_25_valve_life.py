"""What became of each valve, spares on the shelf, and how hard materials are on a valve.

Reason: why a valve went was free text, from which no life can be computed; whether another lies on the
shelf decides when it can be changed at all.
"""

import sqlalchemy as sa
from alembic import op

revision = "valve_life"
down_revision = "press_turns"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("valves", sa.Column("outcome", sa.Text(), server_default="", nullable=False))
    op.create_table(
        "material_wear",
        sa.Column("material", sa.Text(), autoincrement=False, nullable=False),
        sa.Column("wear", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("material", name=op.f("pk_material_wear")),
    )
    op.create_table(
        "spares",
        sa.Column("spare_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("part_number", sa.Text(), nullable=False),
        sa.Column("style", sa.Text(), nullable=False),
        sa.Column("material_pair", sa.Text(), server_default="", nullable=False),
        sa.Column("on_hand", sa.Integer(), nullable=False),
        sa.Column("lead_days", sa.Double(), nullable=True),
        sa.Column("place", sa.Text(), server_default="", nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("spare_no", name=op.f("pk_spares")),
    )


def downgrade() -> None:
    op.drop_table("spares")
    op.drop_table("material_wear")
    op.drop_column("valves", "outcome")
