"""Areas, short numbers for shared tablets, idle sessions, keys in turn, and a sealed audit trail.

Reason: a row of the trail that was changed, taken out or slipped in has to show. Each row gets its
place in the chain of its press and a seal made with a key that is never in the database. Rows from
before are sealed right after this migration, with a row that says so.
"""

import sqlalchemy as sa
from alembic import op

revision = "access_and_seals"
down_revision = "imports"
branch_labels = None
depends_on = None


def _added() -> dict[str, list[sa.Column[object]]]:
    return {
        "people": [
            sa.Column("areas", sa.Text(), server_default="[]", nullable=False),
            sa.Column("pin_hash", sa.Text(), nullable=True),
            sa.Column("pin_wrong", sa.Integer(), server_default="0", nullable=False),
        ],
        "sessions": [
            sa.Column("idle_ms", sa.BigInteger(), nullable=True),
            sa.Column("tablet_id", sa.Integer(), nullable=True),
            sa.Column("by_pin", sa.Boolean(), server_default=sa.false(), nullable=False),
            sa.Column("agent", sa.Text(), server_default="", nullable=False),
            sa.Column("address", sa.Text(), server_default="", nullable=False),
        ],
        "device_keys": [
            sa.Column("ends_ms", sa.BigInteger(), nullable=True),
            sa.Column("replaces", sa.Integer(), nullable=True),
            sa.Column("created_by", sa.Text(), server_default="", nullable=False),
        ],
        "audit": [
            sa.Column("seq", sa.BigInteger(), nullable=True),
            sa.Column("seal", sa.LargeBinary(), nullable=True),
            sa.Column("key_id", sa.Text(), server_default="", nullable=False),
        ],
    }


def upgrade() -> None:
    for table, columns in _added().items():
        for column in columns:
            op.add_column(table, column)
    op.create_table(
        "tablets",
        sa.Column("tablet_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.LargeBinary(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("created_by", sa.Text(), nullable=False),
        sa.Column("created_ms", sa.BigInteger(), nullable=False),
        sa.Column("last_used_ms", sa.BigInteger(), nullable=True),
        sa.Column("revoked_ms", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("tablet_id", name=op.f("pk_tablets")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_tablets_token_hash")),
    )
    op.create_table(
        "audit_heads",
        sa.Column("press_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("seq", sa.BigInteger(), nullable=False),
        sa.Column("seal", sa.LargeBinary(), nullable=False),
        sa.Column("key_id", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("press_id", name=op.f("pk_audit_heads")),
    )
    op.create_index("ix_audit_press_id_seq", "audit", ["press_id", "seq"], unique=True)
    op.create_index("ix_sessions_person_id", "sessions", ["person_id"])
    op.create_index("ix_audit_at_ms", "audit", ["at_ms"])


def downgrade() -> None:
    op.drop_index("ix_audit_at_ms", table_name="audit")
    op.drop_index("ix_sessions_person_id", table_name="sessions")
    op.drop_index("ix_audit_press_id_seq", table_name="audit")
    op.drop_table("audit_heads")
    op.drop_table("tablets")
    for table, columns in reversed(_added().items()):
        for column in reversed(columns):
            op.drop_column(table, column.name)
