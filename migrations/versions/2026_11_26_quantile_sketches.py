"""Summaries know their quantiles: a small sketch beside number, mean, scatter and extremes.

Reason: over a long stretch the extremes are those of single odd shots; where most shots lay could not be
said. No row is written again: of those there are the quantiles are not known until `ringtell evaluate
--rebuild`.
"""

import sqlalchemy as sa
from alembic import op

revision = "quantile_sketches"
down_revision = "reached_from_their_end"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("rollups", sa.Column("sketch", sa.LargeBinary(), nullable=True))


def downgrade() -> None:
    op.drop_column("rollups", "sketch")
