"""People read in units and a language of their own.

Reason: the plant's units hold for everybody, while a toolmaker thinks in inches and the engineer beside him
in millimetres. What somebody has chosen is kept with them, as JSON; empty: as the plant says.
"""

import sqlalchemy as sa
from alembic import op

revision = "own_units"
down_revision = "quantile_sketches"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("people", sa.Column("preferences", sa.Text(), nullable=False, server_default="{}"))


def downgrade() -> None:
    op.drop_column("people", "preferences")
