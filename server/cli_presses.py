"""Many presses of one collector, from a TOML file.

```toml
[[press]]
press = "P07"
url = "opc.tcp://press7.example:4840"
machine = "SN-4711"              # where the address has several
pressure_basis = "hydraulic"     # default: as on the command line
assume_units = "us"
injection_unit = 1
user = "ringtell"
password_file = "/run/secrets/press7"
security = "encrypt"
```
"""

import dataclasses
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from server.collect.opcua_cycle import CycleOptions
from server.collect.opcua_keep import PressAt
from server.errors import UsageError

_CHOICES: Final[Mapping[str, tuple[str, ...]]] = {
    "pressure_basis": ("specific", "hydraulic"),
    "assume_units": ("metric", "us"),
    "security": ("none", "sign", "encrypt"),
}
_KNOWN: Final = ("press", "url", "machine", "injection_unit", "user", "password_file", *_CHOICES)


@dataclasses.dataclass(frozen=True)
class Address:
    """An address, its presses, and what is particular in being let in (fields of `Access`)."""

    url: str
    presses: tuple[PressAt, ...]
    access: Mapping[str, Any]


def read_presses(file: Path, options: CycleOptions) -> list[Address]:
    """Presses of a file, those of one address together. Raises a `UsageError` naming file and fault."""
    try:
        document = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UsageError(f"--presses {file} cannot be read: {error}") from None
    rows = document.get("press")
    if not isinstance(rows, list) or not rows or len(document) != 1:
        raise UsageError(f"--presses {file}: write a table [[press]] for each press, and nothing else")
    addresses: dict[str, Address] = {}
    for number, row in enumerate(rows, start=1):
        try:
            at, url, access = _row(row, options)
        except UsageError as error:
            raise UsageError(f"--presses {file}, press {number}: {error.message}") from None
        before = addresses.get(url, Address(url, (), access))
        if before.access != access:
            raise UsageError(f"--presses {file}, press {number}: {url} is given with two ways to be let in")
        addresses[url] = Address(url, (*before.presses, at), access)
    return list(addresses.values())


def _row(row: Any, options: CycleOptions) -> tuple[PressAt, str, dict[str, Any]]:
    if not isinstance(row, dict):
        raise UsageError("write a table [[press]]")
    for name, value in row.items():
        if name not in _KNOWN:
            raise UsageError(f"{name!r} is not known; known are {', '.join(_KNOWN)}")
        wanted: type = int if name == "injection_unit" else str
        if not isinstance(value, wanted) or (name in _CHOICES and value not in _CHOICES[name]):
            raise UsageError(f"{name} = {value!r} cannot be taken: {', '.join(_CHOICES.get(name, ()))}")
    press, url = row.get("press", ""), row.get("url", "")
    if not press or not url.startswith("opc.tcp://") or "@" in url:
        raise UsageError('give press = "P07" and url = "opc.tcp://…", without a name or password in it')
    at = PressAt(
        press,
        row.get("machine", ""),
        dataclasses.replace(
            options,
            pressure_basis=row.get("pressure_basis", options.pressure_basis),
            assume=row.get("assume_units", options.assume),
            unit=row.get("injection_unit", options.unit),
        ),
    )
    return at, url, _access(row)


def _access(row: Mapping[str, Any]) -> dict[str, Any]:
    access = {name: row[name] for name in ("user", "security") if name in row}
    if "password_file" in row:
        try:
            access["password"] = Path(row["password_file"]).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise UsageError(f"password_file {row['password_file']}: {error.strerror}") from None
    return access
