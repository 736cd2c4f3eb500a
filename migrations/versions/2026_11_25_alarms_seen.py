"""Up to which shot alarms have reacted, apart from how far a press is evaluated.

Reason: a long history is evaluated piece by piece, and alarms react to the last piece only. What counts as
news to them is what lies behind the last shot they reacted to, not behind the last piece.
"""

import sqlalchemy as sa
from alembic import op

revision = "alarms_seen"
down_revision = "thinnings"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("press_states", sa.Column("alarms_seen_ms", sa.BigInteger(), nullable=True))
    op.execute("UPDATE press_states SET alarms_seen_ms = evaluated_ms")


def downgrade() -> None:
    op.drop_column("press_states", "alarms_seen_ms")
