"""Imports of files: what each brought, mappings saved by name, and readings of the presses' clocks.

Reason: an import can be followed, undone as a whole and repeated with the same mapping; shots need
not say which import they came with (their keys stand packed beside the import, no shot is rewritten).
The shortest lag of live shots a day tells how a press's clock stands to the server's.
"""

import sqlalchemy as sa
from alembic import op

revision = "imports"
down_revision = "sources"
branch_labels = None
depends_on = None

_COUNTS = ("received", "stored", "duplicate", "conflict", "rejected")


def upgrade() -> None:
    op.add_column("quarantine", sa.Column("row_no", sa.BigInteger(), nullable=True))
    op.create_table(
        "imports",
        sa.Column("import_no", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("options", sa.Text(), server_default="{}", nullable=False),
        *(sa.Column(name, sa.BigInteger(), server_default="0", nullable=False) for name in _COUNTS),
        sa.Column("trouble", sa.Text(), server_default="", nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("started_ms", sa.BigInteger(), nullable=True),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("undone_ms", sa.BigInteger(), nullable=True),
        sa.Column("undone_by", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("import_no", name=op.f("pk_imports")),
    )
    op.create_table(
        "import_pieces",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("import_no", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("piece_no", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("to_ms", sa.BigInteger(), nullable=False),
        sa.Column("shots", sa.BigInteger(), nullable=False),
        sa.Column("keys", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "import_no", "piece_no", name=op.f("pk_import_pieces")),
    )
    op.create_index("ix_import_pieces_import_no", "import_pieces", ["import_no"])
    op.create_table(
        "import_mappings",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("header_key", sa.Text(), nullable=False),
        sa.Column("options", sa.Text(), nullable=False),
        sa.Column("saved_by", sa.Text(), nullable=False),
        sa.Column("saved_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_import_mappings")),
    )
    op.create_table(
        "clock_readings",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("readings", sa.BigInteger(), nullable=False),
        sa.Column("least_lag_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "day", name=op.f("pk_clock_readings")),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    for table in ("clock_readings", "import_mappings", "import_pieces", "imports"):
        op.drop_table(table)
    op.drop_column("quarantine", "row_no")
