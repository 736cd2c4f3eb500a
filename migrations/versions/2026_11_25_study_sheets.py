"""Studies that are open while they are done, their readings, photos of inspections, limits of weights.

Reason: a weight typed at a press has to be on the server at once, so that a lost tablet loses nothing, and
what was taken back has to stay on record. Photos stand in the database, so that one backup holds all.
"""

import sqlalchemy as sa
from alembic import op

revision = "study_sheets"
down_revision = "cases"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "study_sheets",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sheet_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("opened_ms", sa.BigInteger(), nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("asked", sa.Text(), nullable=False),
        sa.Column("closed_ms", sa.BigInteger(), nullable=True),
        sa.Column("closed_by", sa.Text(), server_default="", nullable=False),
        sa.Column("study_no", sa.Integer(), nullable=True),
        sa.Column("baseline_no", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "sheet_no", name=op.f("pk_study_sheets")),
    )
    op.create_table(
        "study_readings",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sheet_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("reading_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("first", sa.Double(), nullable=False),
        sa.Column("second", sa.Double(), nullable=True),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), server_default="", nullable=False),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.Column("withdrawn_ms", sa.BigInteger(), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), server_default="", nullable=False),
        sa.PrimaryKeyConstraint("press_id", "sheet_no", "reading_no", name=op.f("pk_study_readings")),
        sa.UniqueConstraint(
            "press_id", "sheet_no", "mark", name=op.f("uq_study_readings_press_id_sheet_no_mark")
        ),
    )
    op.create_table(
        "study_photos",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("study_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("photo_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("caption", sa.Text(), server_default="", nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "study_no", "photo_no", name=op.f("pk_study_photos")),
    )
    op.create_table(
        "weight_limits",
        sa.Column("mold", sa.Text(), nullable=False),
        sa.Column("process_class", sa.Text(), nullable=False),
        sa.Column("limit_pct", sa.Double(), nullable=False),
        sa.Column("set_by", sa.Text(), nullable=False),
        sa.Column("set_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("mold", "process_class", name=op.f("pk_weight_limits")),
    )


def downgrade() -> None:
    for table in ("weight_limits", "study_photos", "study_readings", "study_sheets"):
        op.drop_table(table)
