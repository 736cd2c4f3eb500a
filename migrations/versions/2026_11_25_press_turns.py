"""Turns of presses, and roll-ups by month on PostgreSQL.

Reason: several servers on one database share the presses by locking a row each while they work on it.
Roll-ups grow for as long as a plant runs: like shots they get a partition a month, made ahead; what is there
stays where it is, as the partition of everything else. No row is written again.
"""

import sqlalchemy as sa
from alembic import op

revision = "press_turns"
down_revision = "command_answers"
branch_labels = None
depends_on = None

_COLUMNS = (
    "press_id integer NOT NULL, grain integer NOT NULL, bucket_ms bigint NOT NULL, setup_id bigint NOT NULL,"
    " signal text NOT NULL, n bigint NOT NULL, mean double precision NOT NULL, m2 double precision NOT NULL,"
    " low double precision NOT NULL, high double precision NOT NULL"
)
_KEY = "PRIMARY KEY (press_id, grain, bucket_ms, setup_id, signal)"


def upgrade() -> None:
    op.create_table(
        "press_turns",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("press_id", name=op.f("pk_press_turns")),
        sqlite_with_rowid=False,
    )
    if op.get_bind().dialect.name != "postgresql":
        return
    op.execute("ALTER TABLE rollups RENAME TO rollups_other")
    op.execute("ALTER TABLE rollups_other RENAME CONSTRAINT pk_rollups TO rollups_other_pkey")
    op.execute(
        f"CREATE TABLE rollups ({_COLUMNS}, CONSTRAINT pk_rollups {_KEY}) PARTITION BY RANGE (bucket_ms)"
    )
    op.execute("ALTER TABLE rollups ATTACH PARTITION rollups_other DEFAULT")


def downgrade() -> None:
    op.drop_table("press_turns")
    if op.get_bind().dialect.name != "postgresql":
        return
    op.execute("ALTER TABLE rollups DETACH PARTITION rollups_other")
    # What lies in months of its own moves to the others; without any this costs nothing.
    op.execute("INSERT INTO rollups_other SELECT * FROM rollups")
    op.execute("DROP TABLE rollups")
    op.execute("ALTER TABLE rollups_other RENAME TO rollups")
    op.execute("ALTER TABLE rollups RENAME CONSTRAINT rollups_other_pkey TO pk_rollups")
