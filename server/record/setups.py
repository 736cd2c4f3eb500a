"""Set-points entered by hand, for presses whose shots do not report them."""

import math
import unicodedata
from typing import Any, Final

import sqlalchemy as sa

from server.derived.set_points import as_event
from server.errors import InvalidError
from server.language import N_
from server.record.events import keep as keep_event
from server.record.fields import Given, read_code, refuse, shown
from server.store.audit import add_audit
from server.store.plant import Press, mold_by_code
from server.store.records import Event
from server.store.setups import SetpointEntry, add_entry, canonical, entries_of

_FIELDS: Final = ("mold", "material", "setup", "setpoints", "at", "note")
#: How many set-points, and how long a name or a text, one entry may have.
SETPOINTS_MAX, NAME_MAX, VALUE_MAX = 100, 60, 80


def enter_setpoints(
    connection: sa.Connection, press: Press, body: Any, *, who: str, now_ms: int
) -> SetpointEntry:
    """Keep set-points from a moment on (now, when none is sent).

    What differs from the entry before, of the same mold, material and set-up, is a change of settings and
    recorded as that event. A first entry changes nothing: it says what was so already.
    """
    given = Given.of(body, known=_FIELDS)
    given.need("mold", "setpoints")
    mold = read_code("mold", given.body["mold"])
    if mold_by_code(connection, mold) is None:
        raise InvalidError(
            N_(
                "mold is {mold!r}, which the plant does not know; PUT /api/v1/molds/{{mold}} creates it",
                mold=mold,
            ),
            field="mold",
        )
    at_ms = given.at("at", now_ms=now_ms)
    entry = SetpointEntry(
        press_id=press.press_id,
        entry_no=0,
        mold=mold,
        material=given.text("material"),
        setup=given.text("setup"),
        setpoints=_setpoints(given.body["setpoints"]),
        at_ms=now_ms if at_ms is None else at_ms,
        note=given.note(),
        author=who,
        entered_ms=now_ms,
    )
    before = _before(connection, entry)
    kept = add_entry(connection, entry)
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action="setpoints_entered",
        subject=f"{press.press} set-points {kept.entry_no}",
        before=None if before is None else dict(before.setpoints),
        after={"mold": mold, "at_ms": kept.at_ms, **kept.setpoints},
    )
    if before is not None and canonical(before.setpoints) != canonical(kept.setpoints):
        keep_event(connection, press, _event(before, kept, now_ms), now_ms=now_ms)
    return kept


def _before(connection: sa.Connection, entry: SetpointEntry) -> SetpointEntry | None:
    of = (entry.mold, entry.material, entry.setup)
    return next(
        (
            one
            for one in entries_of(connection, entry.press_id)
            if (one.mold, one.material, one.setup) == of and one.at_ms <= entry.at_ms
        ),
        None,
    )


def _event(before: SetpointEntry, kept: SetpointEntry, now_ms: int) -> Event:
    setting, was, became = as_event(canonical(before.setpoints), canonical(kept.setpoints))
    return Event(
        press_id=kept.press_id, at_ms=kept.at_ms, event_no=0, kind="setting", setting=setting, from_value=was,
        to_value=became, lot="", note=kept.note, author=kept.author, recorded_ms=now_ms,
    )  # fmt: skip


def _setpoints(value: Any) -> dict[str, float | str]:
    if isinstance(value, list):
        value = _of_rows(value)
    if not isinstance(value, dict) or not 1 <= len(value) <= SETPOINTS_MAX:
        raise refuse(
            "setpoints",
            value,
            N_("an object of 1 to {setpoints_max} set-points by name", setpoints_max=SETPOINTS_MAX),
        )
    found: dict[str, float | str] = {}
    for name, one in value.items():
        plain = unicodedata.normalize("NFC", str(name)).strip()
        field = f"setpoints.{plain[:NAME_MAX]}"
        if not 1 <= len(plain) <= NAME_MAX or any(unicodedata.category(c) == "Cc" for c in plain):
            raise refuse("setpoints", name, N_("names of 1 to {name_max} characters", name_max=NAME_MAX))
        if isinstance(one, bool) or not isinstance(one, int | float | str):
            raise refuse(field, one, N_("a number or text"))
        if isinstance(one, str):
            found[plain] = _text(field, one)
        elif not math.isfinite(one) or abs(one) > 1e12:
            raise refuse(field, one, N_("a finite number"))
        else:
            found[plain] = float(one)
    return found


def _text(field: str, value: str) -> float | str:
    """A text that is a number is that number, so that a form and a program mean the same."""
    text = unicodedata.normalize("NFC", value).strip()
    if not 1 <= len(text) <= VALUE_MAX or any(unicodedata.category(c) == "Cc" for c in text):
        raise refuse(field, value, N_("text of 1 to {value_max} characters", value_max=VALUE_MAX))
    try:
        number = float(text.replace(",", ".") if text.count(",") == 1 else text)
    except ValueError:
        return text
    return number if math.isfinite(number) and abs(number) <= 1e12 else text


def _of_rows(rows: list[Any]) -> dict[str, Any]:
    """As a form sends them: rows of name and value, empty ones left out, no name twice."""
    found: dict[str, Any] = {}
    for i, row in enumerate(rows):
        one = Given.of(row, known=("name", "value"))
        name, value = one.text("name", longest=NAME_MAX), one.text("value", longest=VALUE_MAX)
        if not name and not value:
            continue
        if not name or not value:
            lacks = "name" if not name else "value"
            raise InvalidError(
                N_("setpoints[{i}].{lacks} is missing; fill it in, or empty the row", i=i, lacks=lacks),
                field=f"setpoints[{i}].{lacks}",
            )
        if name in found:
            raise InvalidError(
                N_(
                    "setpoints[{i}].name is {name}, which stands there twice; keep one", i=i, name=shown(name)
                ),
                field=f"setpoints[{i}].name",
            )
        found[name] = value
    return found
