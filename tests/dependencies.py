"""`python -m tests.dependencies`: are there known holes in what Ringtell runs with?

Asks the advisory service about the very versions installed of everything the package requires. A known
hole fails (exit code 1). A service that cannot be reached, or that does not know the packages, is
reported and fails nothing: a machine without network can still be tested.
"""

import importlib.metadata
import importlib.util
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PACKAGE: Final = "ringtell"
#: Seconds to wait for one answer, and for all of them.
PATIENCE_S, WITHIN_S = 5, 90
#: Known holes that were looked at and do not concern us: id, and why.
LOOKED_AT: Final[dict[str, str]] = {}


def required(package: str = PACKAGE, *, extras: Iterable[str] = ()) -> dict[str, str]:
    """Name and installed version of everything a package needs, and those in turn."""
    found: dict[str, str] = {}
    wanted = [(package, frozenset(extras))]
    while wanted:
        name, extra = wanted.pop()
        for text in importlib.metadata.requires(name) or ():
            need = Requirement(text)
            given = extra or frozenset({""})
            if need.marker is not None and not any(need.marker.evaluate({"extra": one}) for one in given):
                continue
            key = canonicalize_name(need.name)
            if key in found:
                continue
            try:
                found[key] = importlib.metadata.version(need.name)
            except importlib.metadata.PackageNotFoundError:
                continue
            wanted.append((need.name, frozenset(need.extras)))
    return found


def judged(answer: Mapping[str, Any]) -> tuple[list[str], int, int]:
    """From the tool's report: known holes, packages it knew, packages it could say nothing about."""
    holes, known, unknown = [], 0, 0
    for one in answer.get("dependencies", ()):
        if "skip_reason" in one:
            unknown += 1
            continue
        known += 1
        for hole in one.get("vulns", ()):
            if hole["id"] not in LOOKED_AT:
                fixed = ", ".join(hole.get("fix_versions", ())) or "no version yet"
                holes.append(f"{one['name']} {one['version']}: {hole['id']}, mended in {fixed}")
    return holes, known, unknown


def asked(versions: Mapping[str, str]) -> Mapping[str, Any] | None:
    """The tool's report about these versions; None when there is no report."""
    with tempfile.TemporaryDirectory() as folder:
        pinned = Path(folder) / "pinned.txt"
        pinned.write_text("".join(f"{name}=={version}\n" for name, version in sorted(versions.items())))
        command = [
            sys.executable, "-m", "pip_audit", "-r", str(pinned), "--no-deps", "--disable-pip", "-f", "json",
            "--progress-spinner", "off", "--timeout", str(PATIENCE_S),
        ]  # fmt: skip
        try:
            done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=WITHIN_S)
            report: Mapping[str, Any] = json.loads(done.stdout)
        except (subprocess.TimeoutExpired, ValueError):
            return None
    return report


def main() -> int:
    if importlib.util.find_spec("pip_audit") is None:
        sys.stdout.write("not audited: pip-audit is not installed\n")
        return 0
    versions = required()
    report = asked(versions)
    if report is None:
        sys.stdout.write(f"not audited: the advisory service did not answer ({len(versions)} packages)\n")
        return 0
    holes, known, unknown = judged(report)
    for hole in holes:
        sys.stdout.write(f"known hole: {hole}\n")
    told = f"; nothing is known of {unknown}, so these were not audited" if unknown else ""
    sys.stdout.write(f"{known} packages audited, {len(holes)} known holes{told}\n")
    return 1 if holes else 0


if __name__ == "__main__":
    raise SystemExit(main())
