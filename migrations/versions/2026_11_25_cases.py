"""Cases: one record that ties suspicion, checks, actions and verdict of a press together.

Reason: an alarm, a study, a change of valve and a look at the shots afterwards stood side by side, and
nobody could say later which belonged together, what was tried and whether it had worked.
"""

import sqlalchemy as sa
from alembic import op

revision = "cases"
down_revision = "outbox_waiting"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "cases",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("about", sa.Text(), server_default="", nullable=False),
        sa.Column("onset_ms", sa.BigInteger(), nullable=False),
        sa.Column("opened_ms", sa.BigInteger(), nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("alarm_no", sa.Integer(), nullable=True),
        sa.Column("mold", sa.Text(), server_default="", nullable=False),
        sa.Column("material", sa.Text(), server_default="", nullable=False),
        sa.Column("valve_style", sa.Text(), server_default="", nullable=False),
        sa.Column("valve_no", sa.Integer(), nullable=True),
        sa.Column("owner", sa.Text(), server_default="", nullable=False),
        sa.Column("closed_ms", sa.BigInteger(), nullable=True),
        sa.Column("closed_by", sa.Text(), nullable=True),
        sa.Column("verdict", sa.Text(), server_default="", nullable=False),
        sa.Column("closing_note", sa.Text(), server_default="", nullable=False),
        sa.Column("action_no", sa.Integer(), nullable=True),
        sa.Column("evidence", sa.Text(), server_default="{}", nullable=False),
        sa.Column("open_mark", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "case_no", name=op.f("pk_cases")),
        sa.UniqueConstraint("press_id", "open_mark", name=op.f("uq_cases_press_id_open_mark")),
    )
    op.create_index("ix_cases_open_mark", "cases", ["open_mark"])
    op.create_table(
        "case_notes",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("note_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "case_no", "note_no", name=op.f("pk_case_notes")),
    )
    op.create_table(
        "case_actions",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("action_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("event_no", sa.BigInteger(), nullable=False),
        sa.Column("valve_no", sa.Integer(), nullable=True),
        sa.Column("what", sa.Text(), server_default="", nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("recorded_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", "case_no", "action_no", name=op.f("pk_case_actions")),
    )


def downgrade() -> None:
    op.drop_table("case_actions")
    op.drop_table("case_notes")
    op.drop_table("cases")
