"""Ways into the audit trail and into rows kept apart, so that pages reach what they show.

Reason: the page of the trail read the whole trail for its newest lines and for the kinds of action, the plant
page every row of presses that wait to be taken in; both grow with the years.
"""

from alembic import op

revision = "reached_from_their_end"
down_revision = "one_time_ends"
branch_labels = None
depends_on = None

_INDEXES = (
    ("ix_quarantine_kind_press", "quarantine", ["kind", "press"]),
    ("ix_audit_audit_no_press_id", "audit", ["audit_no", "press_id"]),
    ("ix_audit_action", "audit", ["action"]),
)


def upgrade() -> None:
    for name, table, columns in _INDEXES:
        op.create_index(name, table, columns)


def downgrade() -> None:
    for name, table, _columns in _INDEXES:
        op.drop_index(name, table)
