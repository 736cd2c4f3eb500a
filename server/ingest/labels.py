"""What names the context of a shot: press, mold, material, setup, set-points."""

import unicodedata
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import msgspec

from server.contract import CODE_LENGTH_MAX
from server.errors import BadBodyError
from server.ingest.bounds import STORED_UNITS, Units, read_units
from server.ingest.faults import RowFault, shown
from server.language import N_

#: Longest text of each field, in characters after NFC.
LENGTHS: Final[dict[str, int]] = {
    "press": CODE_LENGTH_MAX,
    "mold": CODE_LENGTH_MAX,
    "material": 80,
    "setup": 80,
    "lot": 80,
    "box": 80,
    "serial": 200,
}
LABEL_FIELDS: Final = ("press", "mold", "material", "setup", "setpoints")
_CODES: Final = ("press", "mold")
_NOT_TEXT: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})
_SETPOINTS_MAX: Final = 200
_SETPOINTS_DEPTH: Final = 4
_SETPOINTS_LENGTH: Final = 16_384


class Label(NamedTuple):
    """The context of a shot; `setpoints` is canonical JSON."""

    press: str
    mold: str | None
    material: str | None
    setup: str | None
    setpoints: str | None


class Head(NamedTuple):
    """What stands once for a batch. `press` empty: each row has to name its own."""

    label: Label = Label("", None, None, None, None)
    lot: str | None = None
    units: Units = STORED_UNITS


def read_text(field: str, value: Any) -> str | None:
    """Text in NFC; whole numbers are taken as text; empty is missing. Edge spaces go, except in codes."""
    if value is None:
        return None
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value) if abs(value) < 1 << 63 else "9" * 400
    if not isinstance(value, str):
        raise RowFault(
            field, "not_text", N_("{field} is {value}; send it as text", field=field, value=shown(value))
        )
    text = unicodedata.normalize("NFC", value)
    if field not in _CODES:
        text = text.strip()
    if not text:
        return None
    if not text.isprintable() and any(unicodedata.category(c) in _NOT_TEXT for c in text):
        raise RowFault(
            field,
            "control_character",
            N_("{field} {value} holds a control character; remove it", field=field, value=shown(text)),
        )
    if len(text) > LENGTHS[field]:
        raise RowFault(
            field,
            "too_long",
            N_(
                "{field} {value} has {value_2} characters; at most {lengths} are kept",
                field=field,
                value=shown(text),
                value_2=len(text),
                lengths=LENGTHS[field],
            ),
        )
    return _code(field, text) if field in _CODES else text


def _code(field: str, text: str) -> str:
    hidden = next((c for c in text if unicodedata.category(c) == "Cf"), None)
    if hidden is not None:
        raise RowFault(
            field,
            "hidden_character",
            N_(
                "{field} {value} holds the invisible character U+{ord:04X}, which makes two codes"
                " look the same; remove it",
                field=field,
                value=shown(text),
                ord=ord(hidden),
            ),
        )
    if text in (".", "..") or "/" in text or "\\" in text:
        raise RowFault(
            field,
            "bad_code",
            N_(
                "{field} {value} cannot be taken: no /, no \\, and neither . nor .. alone",
                field=field,
                value=shown(text),
            ),
        )
    if text != text.strip():
        raise RowFault(
            field,
            "bad_code",
            N_("{field} {value} has a space at its edge; remove it", field=field, value=shown(text)),
        )
    return text


def read_setpoints(value: Any) -> str | None:
    """Canonical JSON of an object of numbers, texts, booleans and lists of them; `{}` is missing.

    12 and 12.0 are the same set-point; a null is left out.
    """
    if value is None:
        return None
    if not isinstance(value, Mapping):
        raise RowFault(
            "setpoints", "not_an_object", N_("setpoints is {value}; send an object", value=shown(value))
        )
    if len(value) > _SETPOINTS_MAX:
        raise RowFault(
            "setpoints",
            "too_many",
            N_(
                "setpoints has {value} entries; at most {setpoints_max} are kept",
                value=len(value),
                setpoints_max=_SETPOINTS_MAX,
            ),
        )
    plain = _plain(value, 0)
    if not plain:
        return None
    try:
        text = msgspec.json.encode(plain, order="sorted").decode()
    except UnicodeEncodeError:
        raise RowFault(
            "setpoints", "control_character", N_("setpoints holds text that is no Unicode")
        ) from None
    if len(text) > _SETPOINTS_LENGTH:
        raise RowFault(
            "setpoints",
            "too_long",
            N_(
                "setpoints has {value} characters as JSON; at most {setpoints_length} are kept",
                value=len(text),
                setpoints_length=_SETPOINTS_LENGTH,
            ),
        )
    return text


def _plain(value: Any, depth: int) -> Any:
    if depth > _SETPOINTS_DEPTH:
        raise RowFault(
            "setpoints",
            "too_deep",
            N_(
                "setpoints nests deeper than {setpoints_depth} levels; flatten it",
                setpoints_depth=_SETPOINTS_DEPTH,
            ),
        )
    if isinstance(value, bool):
        return value
    if isinstance(value, str):
        if "\x00" in value:
            raise RowFault(
                "setpoints", "control_character", N_("setpoints holds a control character; remove it")
            )
        return unicodedata.normalize("NFC", value)
    if isinstance(value, Mapping):
        return {_plain(str(k), depth): _plain(v, depth + 1) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [_plain(v, depth + 1) for v in value if v is not None]
    return _number(value)


def _number(value: Any) -> float:
    try:
        number = float(value) + 0.0
    except (TypeError, ValueError, OverflowError):
        number = float("nan")
    if number - number != 0.0:
        raise RowFault(
            "setpoints", "not_finite", N_("setpoints holds {value}, no finite number", value=shown(value))
        )
    return number


def read_label(fields: Mapping[str, Any], head: Label) -> Label:
    """The label of one row: its own names where given, else those of the batch."""
    press = read_text("press", fields.get("press")) or head.press
    if not press:
        raise RowFault(
            "press",
            "missing",
            N_("the shot names no press; add press to the shot, once to the batch, or as the query ?press="),
        )
    return Label(
        press,
        read_text("mold", fields.get("mold")) or head.mold,
        read_text("material", fields.get("material")) or head.material,
        read_text("setup", fields.get("setup")) or head.setup,
        read_setpoints(fields.get("setpoints")) or head.setpoints,
    )


def read_head(fields: Mapping[str, Any], units: Mapping[str, str]) -> Head:
    """What stands once for the batch; a fault in it is one of the whole body."""
    try:
        label = Label(
            read_text("press", fields.get("press")) or "",
            read_text("mold", fields.get("mold")),
            read_text("material", fields.get("material")),
            read_text("setup", fields.get("setup")),
            read_setpoints(fields.get("setpoints")),
        )
        lot = read_text("lot", fields.get("lot"))
    except RowFault as fault:
        raise BadBodyError(fault.message, field=fault.field) from None
    return Head(label=label, lot=lot, units=read_units(units) if units else STORED_UNITS)
