"""What a mold's limits and demand were, and since when.

Reason: a judgement of an earlier stretch rests on the limits of its day, and who changed a limit and why has
to be seen beside it. What stands now becomes the first version of each mold that has any.
"""

import sqlalchemy as sa
from alembic import op

revision = "mold_versions"
down_revision = "valve_life"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "mold_versions",
        sa.Column("mold", sa.Text(), nullable=False),
        sa.Column("version_no", sa.Integer(), nullable=False),
        sa.Column("since_ms", sa.BigInteger(), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("demand", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("mold", "version_no", name=op.f("pk_mold_versions")),
    )
    op.execute(
        "INSERT INTO mold_versions (mold, version_no, since_ms, limits, demand, who, why)"
        " SELECT mold, 1, created_ms, limits, demand, '', '' FROM molds"
        " WHERE limits <> '{}' OR demand <> '{}'"
    )


def downgrade() -> None:
    op.drop_table("mold_versions")
