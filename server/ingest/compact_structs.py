"""Thrift's compact protocol, as much as it takes to read a struct of numbers, texts, lists and structs.

Stricter than the readers it stands before, so that nothing reads otherwise there than here: a field said
twice is refused (they would put both together), and a field is known by its number and its type (they pass
over one of another type). Numbers are cut to their width as they cut them.
"""

from typing import Any, Final

_TRUE, _FALSE, _BYTE, _I16, I32, I64, _DOUBLE, BINARY, LIST, _SET, _MAP, STRUCT = range(1, 13)
_WIDTHS: Final = {_I16: 16, I32: 32, I64: 64}
_DEPTH_MAX: Final = 8

#: Values by field number and type.
Fields = dict[tuple[int, int], Any]


def read_struct(data: bytes) -> tuple[Fields, int]:
    """The struct at the start of the bytes, and its length. IndexError: it goes on behind their end;
    ValueError: it is none."""
    reader = _Reader(data)
    return reader.struct(0), reader.place


def items(fields: Fields, number: int, kind: int) -> list[Any]:
    """A list of one type of element. ValueError: its elements say they are of another."""
    said, found = fields[number, LIST]
    if found and said != kind:
        raise ValueError(f"a list of type {said} instead of {kind}")
    return list(found)


class _Reader:
    def __init__(self, data: bytes) -> None:
        self._data, self.place = data, 0

    def struct(self, depth: int) -> Fields:
        if depth > _DEPTH_MAX:
            raise ValueError("structs within structs")
        fields: Fields = {}
        numbers: set[int] = set()
        number = 0
        while (head := self._byte()) != 0:
            step, kind = head >> 4, head & 15
            number = number + step if step else self._signed(16)
            if number in numbers:
                raise ValueError(f"field {number} is said twice")
            numbers.add(number)
            fields[number, kind] = kind == _TRUE if kind in (_TRUE, _FALSE) else self._value(kind, depth)
        return fields

    def _value(self, kind: int, depth: int) -> Any:
        if kind in _WIDTHS:
            return self._signed(_WIDTHS[kind])
        if kind in (_TRUE, _FALSE, _BYTE):
            return self._byte()
        if kind == STRUCT:
            return self.struct(depth + 1)
        if kind in (_DOUBLE, BINARY):
            return self._bytes(8 if kind == _DOUBLE else self._unsigned(32))
        if kind in (LIST, _SET):
            head = self._byte()
            count = self._unsigned(32) if head >> 4 == 15 else head >> 4
            return head & 15, [self._value(head & 15, depth + 1) for _ in range(count)]
        raise ValueError(f"no type {kind} is known here")

    def _byte(self) -> int:
        self.place += 1
        return self._data[self.place - 1]

    def _bytes(self, count: int) -> bytes:
        self.place += count
        if self.place > len(self._data):
            raise IndexError
        return self._data[self.place - count : self.place]

    def _unsigned(self, width: int) -> int:
        value = 0
        for shift in range(0, 70, 7):
            byte = self._byte()
            value |= (byte & 127) << shift
            if byte < 128:
                return value & ((1 << width) - 1)
        raise ValueError("a number without end")

    def _signed(self, width: int) -> int:
        value = self._unsigned(width)
        return value >> 1 ^ -(value & 1)
