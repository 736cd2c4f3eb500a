"""Passwords that are given out once end.

Reason: a slip of paper with one that nobody used opened the way in for as long as the person was known.
Those given out before stay as they are: when they were given out was not kept.
"""

import sqlalchemy as sa
from alembic import op

revision = "one_time_ends"
down_revision = "reports"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("people", sa.Column("one_time_ends_ms", sa.BigInteger(), nullable=True))


def downgrade() -> None:
    op.drop_column("people", "one_time_ends_ms")
