"""Proves the judgement on presses that nothing was fitted on, and writes what came of it.

    python -m server.valve.prove > proof.json && mv proof.json shared/score_proof.json
    python -m server.valve.prove --table

Fixed by its seed. The presses are those of `proof_world`: they share no generator with the two families
the coefficients were fitted on.
"""

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from typing import Any, Final

from server.valve.model import MODEL
from server.valve.proof_report import draw_sets, report

SEED: Final = 300_000_000
#: Presses of each of the three kinds; a third as many on worn valves.
PRESSES: Final = 400


def rounded(value: Any) -> Any:
    """Numbers to four places, so that the file stays readable and does not hang on the last bit."""
    if isinstance(value, float):
        return round(value, 4) if value == value else None
    if isinstance(value, Mapping):
        return {str(key): rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(part) for part in value]
    return value


def _set_lines(one: Mapping[str, Any]) -> list[str]:
    lines = []
    for kind in ("seen", "inside", "all"):
        f = one[kind]
        lines.append(
            f"{one['id']}, {f['name']}: {f['presses']} presses, {f['leaking']} leaking;"
            f" AUC {f['auc']:.3f} ({f['auc_low']:.3f} to {f['auc_high']:.3f});"
            f" cushion limit {f['cushion_auc']:.3f}, scatter ratio {f['ratio_auc']:.3f}"
        )
        at = (f"{a['prevalence']:.0%}: Brier {a['brier']:.3f}, ECE {a['error']:.3f}" for a in f["at"])
        lines.append("  " + "; ".join(at))
    bands = (f"{band['name']} AUC {band['auc']:.3f} ({band['leaking']})" for band in one["bands"])
    return [*lines, "  " + "; ".join(bands)]


def _speed_line(row: Mapping[str, Any]) -> str:
    return (
        f"  {row['cause']} losing {row['lost_from']:.2%} to {row['lost_to']:.2%}: to 50 % {row['to_50']},"
        f" to 90 % {row['to_90']} (found {row['found_50']:.0%}, {row['found_90']:.0%};"
        f" 90 % within 5 shots {row['within_5']:.0%}; {row['presses']} presses)"
    )


def table(found: Mapping[str, Any]) -> str:
    """The report as plain text."""
    lines = [f"model {found['model_version']}, {found['presses']} presses, seed {found['seed']}"]
    for one in found["sets"]:
        lines += _set_lines(one)
        for row in found["quiet"][one["id"]]:
            what = row["cause"] + ("" if row["reported"] else " not reported")
            lines.append(f"  {what}: under 20 % in {row['under_20']:.1%} ({row['presses']} presses)")
        lines += [_speed_line(row) for row in found["speed"][one["id"]]]
        for row in found["false_alarms"][one["id"]]:
            lines.append(f"  {row['what']}: {row['per_week']:.2f} a press-week")
        named = found["confusion"][one["id"]]
        for i, cause in enumerate(named["put_in"]):
            best = sorted(zip(named["share"][i], named["named"], strict=True), reverse=True)[:3]
            lines.append(f"  {cause} named " + ", ".join(f"{name} {share:.0%}" for share, name in best))
    worn = found["worn"]
    lines.append(
        f"record on a worn valve: further growth over 50 % in {worn['grown_over_50']:.0%}, "
        f"AUC {worn['figures']['auc']:.3f}; unchanged under 20 % in {worn['unchanged_under_20']:.0%}"
    )
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Writes the report as JSON to standard output, or as a table."""
    parser = argparse.ArgumentParser(prog="python -m server.valve.prove", description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--presses", type=int, default=PRESSES)
    parser.add_argument("--table", action="store_true", help="plain text instead of JSON")
    given = parser.parse_args(arguments)
    found = rounded(report(draw_sets(seed=given.seed, presses=given.presses), MODEL, seed=given.seed))
    sys.stdout.write(table(found) if given.table else json.dumps(found, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
