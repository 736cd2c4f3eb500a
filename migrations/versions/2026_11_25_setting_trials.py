"""Setting trials as something that runs: their plan, and each level as it is set.

Reason: a trial was a table of readings somebody brought afterwards. Planned here, its order is kept, its
shots are those that come in anyway, and it can stop as soon as it is decided.
"""

import sqlalchemy as sa
from alembic import op

revision = "setting_trials"
down_revision = "study_sheets"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "setting_trials",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("trial_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("setting", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), server_default="", nullable=False),
        sa.Column("signal", sa.Text(), nullable=False),
        sa.Column("levels", sa.Text(), nullable=False),
        sa.Column("today", sa.Integer(), nullable=False),
        sa.Column("shots_per_level", sa.Integer(), nullable=False),
        sa.Column("settling", sa.Integer(), nullable=False),
        sa.Column("ordering", sa.Text(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("planned_ms", sa.BigInteger(), nullable=False),
        sa.Column("planned_by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("case_no", sa.Integer(), nullable=True),
        sa.Column("ended_ms", sa.BigInteger(), nullable=True),
        sa.Column("ended_by", sa.Text(), nullable=True),
        sa.Column("ended_as", sa.Text(), server_default="", nullable=False),
        sa.Column("kept_level", sa.Integer(), nullable=True),
        sa.Column("result", sa.Text(), server_default="{}", nullable=False),
        sa.Column("open_mark", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "trial_no", name=op.f("pk_setting_trials")),
        sa.UniqueConstraint("press_id", "open_mark", name=op.f("uq_setting_trials_press_id_open_mark")),
    )
    op.create_table(
        "trial_steps",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("trial_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("step_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("level", sa.Integer(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("splay", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("press_id", "trial_no", "step_no", name=op.f("pk_trial_steps")),
    )


def downgrade() -> None:
    op.drop_table("trial_steps")
    op.drop_table("setting_trials")
