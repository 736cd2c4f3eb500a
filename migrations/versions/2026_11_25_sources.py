"""What collectors say of themselves: a row a source.

Reason: a collector that lost its press or its way to the server shows in no shot; its own last word,
and how long ago it was said, do show it.
"""

import sqlalchemy as sa
from alembic import op

revision = "sources"
down_revision = "alarm_budget"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sources",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("reported_by", sa.Text(), nullable=False),
        sa.Column("reported_ms", sa.BigInteger(), nullable=False),
        sa.Column("report", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_sources")),
    )


def downgrade() -> None:
    op.drop_table("sources")
