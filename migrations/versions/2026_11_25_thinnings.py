"""How far the raw shots of each press were thinned out, and the state evaluation goes on from.

Reason: raw shots older than a plant wants to keep may go, their summaries, scores and findings stay. What
was computed from shots that are gone must never be overwritten by what the rest would come to.
"""

import sqlalchemy as sa
from alembic import op

revision = "thinnings"
down_revision = "access_and_seals"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "thinnings",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("thinning_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("floor_ms", sa.BigInteger(), nullable=False),
        sa.Column("made_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("counter", sa.BigInteger(), nullable=False),
        sa.Column("ordinal", sa.BigInteger(), nullable=False),
        sa.Column("codec", sa.Integer(), nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "thinning_no", name=op.f("pk_thinnings")),
    )


def downgrade() -> None:
    op.drop_table("thinnings")
