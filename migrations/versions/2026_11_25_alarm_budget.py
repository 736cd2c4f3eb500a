"""How the charts within the alarm budget stand on a press, and why its alarms are held back.

Reason: pages and the API have to say what a press's charts have learnt and which of them signal, and
that alarms are held back while a press starts up. Null until a press is evaluated again.
"""

import sqlalchemy as sa
from alembic import op

revision = "alarm_budget"
down_revision = "outlets_and_floor"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("press_states", sa.Column("watching", sa.Text(), nullable=True))
    op.add_column("press_states", sa.Column("held_back", sa.Text(), nullable=True))


def downgrade() -> None:
    op.drop_column("press_states", "held_back")
    op.drop_column("press_states", "watching")
