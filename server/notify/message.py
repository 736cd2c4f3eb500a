"""A message about an alarm in words: subject, text, and the facts a program reads."""

import dataclasses
from typing import Any

from server.language import N_, _
from server.store.alarms import public_id
from server.store.outbox import Outgoing
from server.words.catalogue import ALARM_KIND, ALARM_STATE, URGENCY, cause_name, worded
from server.words.guidance import floor_advice
from server.words.numbers import capital

_HAPPENED = {
    "opened": N_("New alarm"),
    "came_back": N_("It is back"),
    "returned": N_("It went by itself; nobody has answered"),
    "urgency_changed": N_("Its urgency changed"),
    "shelving_ended": N_("Its time aside is over"),
    "released": N_("It is held back no longer"),
    "put_back_in_service": N_("It is back in service"),
    "escalated": N_("Nobody has answered"),
    "test": N_("This is a test"),
}


@dataclasses.dataclass(frozen=True)
class Message:
    """`id` is the same for every try; `facts` is what JSON can carry."""

    id: str
    subject: str
    text: str
    facts: dict[str, Any]


def message_of(outgoing: Outgoing, *, page: str = "") -> Message:
    """Words and facts of a message. page: address of the server's pages, '' when unknown."""
    if outgoing.action == "test":
        text = _("A test message from Ringtell: alarms sent by this route arrive here.")
        facts: dict[str, Any] = {"id": outgoing.message_id, "action": "test"}
        return Message(outgoing.message_id, _("Ringtell test message"), text, facts)
    who = f"{outgoing.press} {outgoing.name}".strip()
    what = worded(ALARM_KIND, outgoing.kind)
    happened = worded(_HAPPENED, outgoing.action)
    state = capital(worded(ALARM_STATE, outgoing.state))
    lines = [
        f"{happened}{': ' + outgoing.note if outgoing.note and outgoing.action == 'escalated' else ''}.",
        f"{who}: {what}" + (f", {cause_name(outgoing.cause)}" if outgoing.cause else "") + ".",
        _("Urgency: {urgency}. {state}.", urgency=worded(URGENCY, outgoing.urgency), state=state),
        _("At the press: {advice}", advice=floor_advice(outgoing.kind, outgoing.cause)),
        _("Follow the site's own safety procedures; only trained people work on the press."),
        *([f"{page.rstrip('/')}/alarms"] if page else []),
    ]
    subject = f"{worded(URGENCY, outgoing.urgency)}: {who}, {what} ({happened.lower()})"
    # A line, whatever the press is called: no mail leaves with a subject of two.
    return Message(outgoing.message_id, " ".join(subject.split()), "\n".join(lines) + "\n", _facts(outgoing))


def _facts(outgoing: Outgoing) -> dict[str, Any]:
    return {
        "id": outgoing.message_id,
        "alarm": public_id(outgoing.press, outgoing.alarm_no),
        "step": outgoing.step,
        "press": outgoing.press,
        "area": outgoing.area,
        "kind": outgoing.kind,
        "cause": outgoing.cause or None,
        "action": outgoing.action,
        "state": outgoing.state,
        "urgency": outgoing.urgency,
        "queued_ms": outgoing.created_ms,
    }
