"""A command with a key is told from another with the same key by its content, and its answer is kept.

Until now only some acts honoured a key, each in its own way; the rows they left have no answer and are
simply older than anything sent from now on.
"""

import sqlalchemy as sa
from alembic import op

revision = "command_answers"
down_revision = "setting_trials"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("command_keys", sa.Column("asked", sa.Text(), nullable=False, server_default=""))
    op.add_column("command_keys", sa.Column("status", sa.Integer()))
    op.add_column("command_keys", sa.Column("answer", sa.Text()))


def downgrade() -> None:
    op.drop_column("command_keys", "answer")
    op.drop_column("command_keys", "status")
    op.drop_column("command_keys", "asked")
