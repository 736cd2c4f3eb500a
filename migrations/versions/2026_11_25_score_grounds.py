"""What a press's prior is made of, beside its newest judgement.

Reason: the prior is more than the plant's prevalence (the valve's age and the checks on record are in
it), and a page has to name each part with its share. Null until a press is judged again.
"""

import sqlalchemy as sa
from alembic import op

revision = "score_grounds"
down_revision = "alarm_life"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("press_states", sa.Column("prior_parts", sa.Text(), nullable=True))


def downgrade() -> None:
    op.drop_column("press_states", "prior_parts")
