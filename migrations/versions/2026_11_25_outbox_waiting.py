"""An index of the messages that wait, instead of one of all that ever left.

Reason: the courier looks for due messages every two seconds, and by the time of the next try nearly every
message ever sent was due: it read all of them each time.
"""

import sqlalchemy as sa
from alembic import op

revision = "outbox_waiting"
down_revision = "alarms_seen"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_index("ix_outbox_next_try_ms", table_name="outbox")
    waits = sa.text("delivered_ms IS NULL AND dead_ms IS NULL")
    op.create_index(
        "ix_outbox_waiting", "outbox", ["next_try_ms"], sqlite_where=waits, postgresql_where=waits
    )


def downgrade() -> None:
    op.drop_index("ix_outbox_waiting", table_name="outbox")
    op.create_index("ix_outbox_next_try_ms", "outbox", ["next_try_ms"])
