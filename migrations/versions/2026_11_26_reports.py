"""Reports that were made, with what they rest on.

Reason: a link on a signed paper has to give the same numbers years later, or say that its inputs changed.
"""

import sqlalchemy as sa
from alembic import op

revision = "reports"
down_revision = "records_and_setups"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "reports",
        sa.Column("report_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), server_default="0", nullable=False),
        sa.Column("from_ms", sa.BigInteger(), server_default="0", nullable=False),
        sa.Column("to_ms", sa.BigInteger(), server_default="0", nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("software", sa.Text(), nullable=False),
        sa.Column("made_ms", sa.BigInteger(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("report_no", name=op.f("pk_reports")),
    )


def downgrade() -> None:
    op.drop_table("reports")
