"""Which server is at which import, and until when it is taken to be alive.

Reason: a second server on the same PostgreSQL took every import in the middle for one that a stopped server
had left behind, and declared it failed while the first was still storing its rows.
"""

import sqlalchemy as sa
from alembic import op

revision = "import_holds"
down_revision = "mold_versions"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "import_holds",
        sa.Column("import_no", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("held_by", sa.Text(), nullable=False),
        sa.Column("until_ms", sa.BigInteger(), nullable=False),
        sa.Column("cancel_asked", sa.Boolean(), server_default=sa.false(), nullable=False),
        sa.PrimaryKeyConstraint("import_no", name=op.f("pk_import_holds")),
    )


def downgrade() -> None:
    op.drop_table("import_holds")
