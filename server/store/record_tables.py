"""Tables of what people and alarms write: baselines, events, valves, studies, alarms, messages, the trail."""

import sqlalchemy as sa

from server.store.table_base import Big, Real
from server.store.table_base import key as _key
from server.store.table_base import need as _need
from server.store.table_base import table as _table

# --- what people and alarms write -------------------------------------------------------------

baselines = _table(
    "baselines",
    _key("press_id", sa.Integer),
    _key("baseline_no", sa.Integer),
    _need("mold", sa.Text, server_default=""),
    _need("material", sa.Text, server_default=""),
    # NULL: one for every setup of this mold and material.
    sa.Column("setup", sa.Text),
    _need("from_ms", Big),
    _need("to_ms", Big),
    _need("shots", Big),
    # 'draft', 'approved', 'retired'
    _need("state", sa.Text),
    _need("signals", sa.Text),
    _need("note", sa.Text, server_default=""),
    _need("captured_by", sa.Text),
    _need("captured_ms", Big),
    sa.Column("approved_by", sa.Text),
    sa.Column("approved_ms", Big),
    sa.Column("retired_by", sa.Text),
    sa.Column("retired_ms", Big),
    # Why, in the words of who approved or retired it.
    _need("approved_note", sa.Text, server_default=""),
    _need("retired_note", sa.Text, server_default=""),
)

events = _table(
    "events",
    _key("press_id", sa.Integer),
    _key("at_ms"),
    _key("event_no"),
    _need("kind", sa.Text),
    _need("setting", sa.Text, server_default=""),
    _need("from_value", sa.Text, server_default=""),
    _need("to_value", sa.Text, server_default=""),
    _need("lot", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    _need("author", sa.Text),
    _need("recorded_ms", Big),
)

valves = _table(
    "valves",
    _key("press_id", sa.Integer),
    _key("valve_no", sa.Integer),
    _need("fitted_ms", Big),
    sa.Column("removed_ms", Big),
    _need("style", sa.Text),
    _need("part_number", sa.Text, server_default=""),
    _need("material_pair", sa.Text, server_default=""),
    sa.Column("nominal_clearance_mm", Real),
    sa.Column("shots_before", Big),
    _need("removed_reason", sa.Text, server_default=""),
    _need("found", sa.Text, server_default=""),
    # What it turned out to be once it was out: 'failed', 'worn', 'good'; '' where nobody has said.
    _need("outcome", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    _need("author", sa.Text),
)

studies = _table(
    "studies",
    _key("press_id", sa.Integer),
    _key("study_no", sa.Integer),
    _need("kind", sa.Text),
    _need("at_ms", Big),
    _need("mold", sa.Text, server_default=""),
    _need("asked", sa.Text),
    _need("result", sa.Text),
    _need("verdict", sa.Text),
    _need("author", sa.Text),
)

alarms = _table(
    "alarms",
    _key("press_id", sa.Integer),
    _key("alarm_no", sa.Integer),
    _need("kind", sa.Text),
    _need("state", sa.Text),
    _need("urgency", sa.Text),
    _need("cause", sa.Text, server_default=""),
    _need("opened_ms", Big),
    _need("since_ms", Big),
    sa.Column("ended_ms", Big),
    sa.Column("acknowledged_by", sa.Text),
    sa.Column("acknowledged_ms", Big),
    sa.Column("reason", sa.Text),
    _need("note", sa.Text, server_default=""),
    sa.Column("shelved_until_ms", Big),
    _need("active", sa.Boolean),
    # Numbers the words are made of, as JSON.
    _need("facts", sa.Text, server_default="{}"),
    # 1 while the alarm is open, NULL afterwards: at most one open alarm per press and kind.
    sa.Column("open_mark", sa.Integer),
    # Why it is kept from calling by design ('' for not), whether its kind is out of service, and
    # whether anybody was ever called.
    _need("suppressed_by", sa.Text, server_default=""),
    _need("out_of_service", sa.Boolean, server_default=sa.false()),
    _need("called", sa.Boolean, server_default=sa.true()),
    # Since when somebody is called without an answer, and the escalation level told since then.
    sa.Column("waiting_since_ms", Big),
    _need("escalated", sa.Integer, server_default="0"),
    sa.UniqueConstraint("press_id", "kind", "open_mark"),
)

# Kinds of alarm taken out of service on a press: by whom, why, until when.
alarm_stops = _table(
    "alarm_stops",
    _key("press_id", sa.Integer),
    _key("stop_no", sa.Integer),
    _need("kind", sa.Text),
    _need("from_ms", Big),
    _need("until_ms", Big),
    _need("who", sa.Text),
    _need("why", sa.Text),
    sa.Column("ended_ms", Big),
    _need("ended_by", sa.Text, server_default=""),
    # 1 while it holds, NULL afterwards: at most one per press and kind.
    sa.Column("open_mark", sa.Integer),
    sa.UniqueConstraint("press_id", "kind", "open_mark"),
)

alarm_steps = _table(
    "alarm_steps",
    _key("press_id", sa.Integer),
    _key("alarm_no", sa.Integer),
    _key("step", sa.Integer),
    _need("at_ms", Big),
    _need("action", sa.Text),
    _need("state", sa.Text),
    _need("who", sa.Text),
    _need("reason", sa.Text, server_default=""),
    _need("note", sa.Text, server_default=""),
    sa.Column("idempotency_key", sa.Text),
)

outbox = _table(
    "outbox",
    _key("press_id", sa.Integer),
    _key("alarm_no", sa.Integer),
    _key("step", sa.Integer),
    _key("outlet", sa.Text),
    _key("recipient", sa.Text),
    _need("created_ms", Big),
    _need("tries", sa.Integer, server_default="0"),
    _need("next_try_ms", Big),
    sa.Column("delivered_ms", Big),
    _need("trouble", sa.Text, server_default=""),
    # Taken by a courier that is sending it; taken again when that courier never came back.
    sa.Column("claimed_ms", Big),
    # Given up after the last try.
    sa.Column("dead_ms", Big),
)

# Who is told about which alarms, by which outlet. '' stands for every area, urgency or shift.
outlet_routes = _table(
    "outlet_routes",
    _key("route_no", sa.Integer),
    _need("outlet", sa.Text),
    _need("recipient", sa.Text, server_default=""),
    _need("area", sa.Text, server_default=""),
    _need("urgency", sa.Text, server_default=""),
    _need("shift", sa.Text, server_default=""),
    # 0: told at once; 1 and more: told when nobody has answered for `after_min`.
    _need("level", sa.Integer, server_default="0"),
    _need("after_min", sa.Integer, server_default="0"),
    _need("active", sa.Boolean, server_default=sa.true()),
    _need("created_ms", Big),
)

# Commands carried out, so that one sent twice acts once.
command_keys = _table(
    "command_keys",
    _key("who", sa.Text),
    _key("command_key", sa.Text),
    _need("action", sa.Text),
    _need("subject", sa.Text),
    _need("at_ms", Big),
    # What tells the content of this command from that of another; what it was answered.
    _need("asked", sa.Text, server_default=""),
    sa.Column("status", sa.Integer),
    sa.Column("answer", sa.Text),
)

# Steps of the guidance somebody has ticked on a press.
guidance_ticks = _table(
    "guidance_ticks",
    _key("press_id", sa.Integer),
    _key("step", sa.Text),
    _need("ticked", sa.Boolean),
    _need("who", sa.Text),
    _need("at_ms", Big),
)

handovers = _table(
    "handovers",
    _key("handover_no", sa.Integer),
    _need("shift", sa.Text),
    _need("from_ms", Big),
    _need("at_ms", Big),
    _need("who", sa.Text),
    _need("note", sa.Text),
    # What opened, what was answered and what stayed open, as JSON.
    _need("summary", sa.Text),
    sa.Column("read_by", sa.Text),
    sa.Column("read_ms", Big),
)

audit = _table(
    "audit",
    _key("press_id", sa.Integer),
    _key("audit_no"),
    _need("at_ms", Big),
    _need("who", sa.Text),
    _need("action", sa.Text),
    _need("subject", sa.Text),
    sa.Column("before", sa.Text),
    sa.Column("after", sa.Text),
    # Place in the chain of the press, the seal over this row and the one before, and with which key.
    # NULL: written before there were seals, and not sealed yet.
    sa.Column("seq", Big),
    sa.Column("seal", sa.LargeBinary),
    _need("key_id", sa.Text, server_default=""),
)

# Where each chain stands. Its row is locked while a link is added, so that no chain forks.
audit_heads = _table(
    "audit_heads",
    _key("press_id", sa.Integer),
    _need("seq", Big),
    _need("seal", sa.LargeBinary),
    _need("key_id", sa.Text),
)

sa.Index("ix_alarms_open_mark", alarms.c.open_mark)
sa.Index("ix_alarm_steps_at_ms", alarm_steps.c.at_ms)
# Of what waits alone: the courier looks every two seconds, however many messages ever left.
_WAITS = sa.and_(outbox.c.delivered_ms.is_(None), outbox.c.dead_ms.is_(None))
sa.Index("ix_outbox_waiting", outbox.c.next_try_ms, sqlite_where=_WAITS, postgresql_where=_WAITS)
sa.Index("ix_audit_press_id_seq", audit.c.press_id, audit.c.seq, unique=True)
sa.Index("ix_audit_at_ms", audit.c.at_ms)
sa.Index("ix_audit_audit_no_press_id", audit.c.audit_no, audit.c.press_id)
sa.Index("ix_audit_action", audit.c.action)

# How far raw shots were thinned out, with the checkpoint evaluation goes on from.
thinnings = _table(
    "thinnings",
    _key("press_id", sa.Integer),
    _key("thinning_no", sa.Integer),
    _need("floor_ms", Big),
    _need("made_ms", Big),
    _need("who", sa.Text),
    _need("at_ms", Big),
    _need("counter", Big),
    _need("ordinal", Big),
    _need("codec", sa.Integer),
    _need("state", sa.LargeBinary),
)
