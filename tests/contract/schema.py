"""The part of JSON Schema 2020-12 that the shot schema uses, as a checker for its tests."""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

#: Keywords that say something to people only.
_ANNOTATIONS = frozenset(
    {"$schema", "$id", "$defs", "title", "description", "format", "x-unit", "additionalProperties"}
)
Schema = Mapping[str, Any]


def faults(value: Any, schema: Schema, root: Schema, at: str = "$") -> Iterator[str]:
    """Where and by which keyword a value breaks the schema."""
    for keyword, wanted in schema.items():
        if keyword in _WITHIN:
            yield from _WITHIN[keyword](value, wanted, root, at)
        elif keyword in _KEYWORDS and not _KEYWORDS[keyword](value, wanted):
            yield f"{at} {keyword}"
        elif keyword not in _KEYWORDS and keyword not in _ANNOTATIONS:
            raise NotImplementedError(keyword)
    yield from _others(value, schema, root, at)


def _at(root: Schema, reference: str) -> Schema:
    found: Any = root
    for part in reference.removeprefix("#/").split("/"):
        found = found[part]
    assert isinstance(found, Mapping)
    return found


def _reference(value: Any, wanted: str, root: Schema, at: str) -> Iterator[str]:
    yield from faults(value, _at(root, wanted), root, at)


def _all_of(value: Any, wanted: list[Schema], root: Schema, at: str) -> Iterator[str]:
    for part in wanted:
        yield from faults(value, part, root, at)


def _any_of(value: Any, wanted: list[Schema], root: Schema, at: str) -> Iterator[str]:
    if all(list(faults(value, part, root, at)) for part in wanted):
        yield f"{at} anyOf"


def _items(value: Any, wanted: Schema, root: Schema, at: str) -> Iterator[str]:
    for index, item in enumerate(value if isinstance(value, list) else ()):
        yield from faults(item, wanted, root, f"{at}[{index}]")


def _names(value: Any, wanted: Schema, root: Schema, at: str) -> Iterator[str]:
    for name in value if isinstance(value, dict) else ():
        yield from faults(name, wanted, root, f"{at} name {name}")


def _properties(value: Any, wanted: Mapping[str, Schema], root: Schema, at: str) -> Iterator[str]:
    for name, part in wanted.items():
        if isinstance(value, dict) and name in value:
            yield from faults(value[name], part, root, f"{at}.{name}")


def _others(value: Any, schema: Schema, root: Schema, at: str) -> Iterator[str]:
    """`additionalProperties`, which needs to see `properties` beside it."""
    others = schema.get("additionalProperties", True)
    if others is True or not isinstance(value, dict):
        return
    for name in value.keys() - schema.get("properties", {}).keys():
        if others is False:
            yield f"{at}.{name} additionalProperties"
        else:
            yield from faults(value[name], others, root, f"{at}.{name}")


_WITHIN: dict[str, Callable[[Any, Any, Schema, str], Iterator[str]]] = {
    "$ref": _reference,
    "allOf": _all_of,
    "anyOf": _any_of,
    "items": _items,
    "propertyNames": _names,
    "properties": _properties,
}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


_TYPES: dict[str, Callable[[Any], bool]] = {
    "null": lambda v: v is None,
    "number": _is_number,
    "integer": lambda v: _is_number(v) and v == int(v),
    "string": lambda v: isinstance(v, str),
    "array": lambda v: isinstance(v, list),
    "object": lambda v: isinstance(v, dict),
}
_KEYWORDS: dict[str, Callable[[Any, Any], bool]] = {
    "type": lambda v, w: any(_TYPES[kind](v) for kind in ([w] if isinstance(w, str) else w)),
    "enum": lambda v, w: v in w,
    "required": lambda v, w: not isinstance(v, dict) or set(w) <= set(v),
    "minimum": lambda v, w: not _is_number(v) or v >= w,
    "maximum": lambda v, w: not _is_number(v) or v <= w,
    "multipleOf": lambda v, w: not _is_number(v) or v % w == 0,
    "minLength": lambda v, w: not isinstance(v, str) or len(v) >= w,
    "maxLength": lambda v, w: not isinstance(v, str) or len(v) <= w,
    "pattern": lambda v, w: not isinstance(v, str) or re.search(w, v) is not None,
    "maxItems": lambda v, w: not isinstance(v, list) or len(v) <= w,
    "maxProperties": lambda v, w: not isinstance(v, dict) or len(v) <= w,
}
