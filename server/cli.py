"""The command line. Errors are one line on standard error, exit code 2 for usage, 1 for a failure."""

import argparse
import gc
import importlib
import sys
from collections.abc import Sequence
from types import ModuleType

from server.allocator import few_arenas
from server.cli_collect_options import add_collect
from server.contract import CAUSES, ROLES
from server.errors import RingtellError, UsageError

#: What `ringtell simulate` can hide in its shots.
STORIES = ("healthy", *(cause for cause in CAUSES if cause not in ("sealing", "unexplained")))


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> "None":  # type: ignore[override]  # argparse calls it NoReturn; it raises
        raise UsageError(f"{message} (see {self.prog} --help)")


def _command(
    subparsers: "argparse._SubParsersAction[_Parser]", name: str, does: str, example: str
) -> argparse.ArgumentParser:
    return subparsers.add_parser(
        name,
        help=does,
        description=does,
        epilog=f"example:\n  {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def parser() -> argparse.ArgumentParser:
    """Every command with its options."""
    top = _Parser(
        prog="ringtell",
        description="Statistical process control for injection moulding: watches the non-return valve.",
        epilog="example:\n  ringtell demo",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.set_defaults(run=None)
    subparsers = top.add_subparsers(metavar="COMMAND", parser_class=_Parser)

    demo = _command(subparsers, "demo", "an invented plant in a fresh database", "ringtell demo --port 8001")
    demo.add_argument("--port", type=int, default=8000)
    demo.add_argument("--data", metavar="DIR", help="folder of the database (default: a fresh one)")
    demo.add_argument("--no-live", action="store_true", help="no shots trickle in")
    demo.add_argument("--empty", action="store_true", help="no demo plant: try your own shots")
    demo.add_argument("--no-login", action="store_true", help="keys and login ignored, on this machine only")
    demo.set_defaults(run="demo")

    serve = _command(
        subparsers, "serve", "the production server; settings from RINGTELL_… variables",
        "RINGTELL_DATABASE_URL=postgresql://ringtell@db/ringtell ringtell serve",
    )  # fmt: skip
    serve.add_argument("--host")
    serve.add_argument("--port", type=int)
    serve.set_defaults(run="serve")

    _database(subparsers)
    _import(subparsers)
    add_collect(_command, subparsers, _Parser)
    _rest(subparsers)
    return top


def _database(subparsers: "argparse._SubParsersAction[_Parser]") -> None:
    db = _command(subparsers, "db", "schema and data care", "ringtell db upgrade")
    acts = db.add_subparsers(metavar="ACT", parser_class=_Parser)
    up = _command(acts, "upgrade", "bring the schema to this version", "ringtell db upgrade")
    up.set_defaults(run="cli_database.db_upgrade")
    check = _command(acts, "check", "counts and consistency of what is stored", "ringtell db check")
    check.add_argument(
        "--sample", type=int, default=20, help="ten-minute summaries of each press computed again (20)"
    )
    check.add_argument("--anchors", metavar="FILE", help="hold the audit trail against anchors made earlier")
    check.set_defaults(run="cli_database.db_check")
    anchors = _command(
        acts, "anchors", "where the audit trail stands, to keep elsewhere", "ringtell db anchors friday.json"
    )
    anchors.add_argument("file")
    anchors.set_defaults(run="cli_keys.db_anchors")
    new_key = _command(
        acts, "new-audit-key", "another key seals the audit trail from now on", "ringtell db new-audit-key"
    )
    new_key.set_defaults(run="cli_keys.db_new_audit_key")
    backup = _command(
        acts, "backup", "copy the database while it is in use; its counts go beside the copy",
        "ringtell db backup friday.db",
    )  # fmt: skip
    backup.add_argument("file")
    backup.set_defaults(run="cli_database.db_backup")
    restore = _command(
        acts, "restore", "put a backup in place, verified by its counts", "ringtell db restore friday.db"
    )
    restore.add_argument("file")
    over = "even if the database holds something; that is kept aside"
    restore.add_argument("--replace", action="store_true", help=over)
    restore.set_defaults(run="cli_database.db_restore")
    thin = _command(
        acts, "thin", "let old raw shots go; summaries, scores and findings stay",
        "ringtell db thin --months 24 --dry-run",
    )  # fmt: skip
    thin.add_argument("--months", type=float, help="raw shots kept (default: what the settings say)")
    fine = "ten-minute summaries kept, at least as long as raw shots (default: what the settings say)"
    thin.add_argument("--fine-months", type=float, metavar="MONTHS", help=fine)
    thin.add_argument("--dry-run", action="store_true", help="only say what would go")
    thin.set_defaults(run="cli_database.db_thin")
    back = _command(
        acts, "take-back", "try shots again that evaluation failed with",
        "ringtell db take-back --press P07",
    )  # fmt: skip
    back.add_argument("--press", required=True)
    back.set_defaults(run="cli_database.db_take_back")
    _of_scale(acts)
    db.set_defaults(run="needs_act", prog="ringtell db")


def _of_scale(acts: "argparse._SubParsersAction[_Parser]") -> None:
    """A database that outgrows a disk or a node."""
    spread = _command(
        acts, "distribute", "spread the tables over the nodes of a distributed PostgreSQL, by press",
        "ringtell db distribute",
    )  # fmt: skip
    spread.add_argument("--show", action="store_true", help="only say the statements")
    spread.set_defaults(run="cli_scale.db_distribute")
    months = _command(
        acts, "months", "partitions by month on PostgreSQL: those there are, and missing ones made",
        "ringtell db months --since 2024-01-01T00:00:00Z",
    )  # fmt: skip
    months.add_argument("--since", metavar="TIME", help="also earlier months, before history is imported")
    months.set_defaults(run="cli_scale.db_months")


def _import(subparsers: "argparse._SubParsersAction[_Parser]") -> None:
    take = _command(
        subparsers, "import", "shots from CSV, TSV, XLSX, Parquet or report files",
        "ringtell import week.csv --look\n"
        "  ringtell import week.csv --press P07 --mold M-113 --time-zone Europe/Berlin"
        " --map 'Polster=cushion_mm' --column-unit Polster=in",
    )  # fmt: skip
    take.add_argument("files", nargs="+", metavar="FILE")
    for label in ("press", "mold", "material", "lot", "setup"):
        take.add_argument(f"--{label}")
    for option, metavar, text in (
        ("--map", "COLUMN=FIELD", "over what its name suggests; extra.NAME keeps a number of your own"),
        ("--unit", "QUANTITY=UNIT", "for the whole file, like length=in"),
        ("--column-unit", "COLUMN=UNIT", "for one column, over the unit in its name"),
    ):
        take.add_argument(option, action="append", default=[], metavar=metavar, help=text)
    take.add_argument("--units", dest="unit", action="append", metavar="QUANTITY=UNIT", help="as --unit")
    for option, metavar, text in (
        ("--mapping", "FILE", "options from a file that --save-mapping wrote"),
        ("--save-mapping", "FILE", "write how the first file is read, for --mapping"),
        ("--time-zone", "ZONE", "of times without an offset, e.g. Europe/Berlin"),
        ("--time-format", "FORMAT", "as in strptime, where times are written in no usual way"),
        ("--encoding", "NAME", "utf-8, utf-16 or cp1252 (default: found out)"),
        ("--delimiter", "MARK", "comma, semicolon, tab or bar as it stands in the file (default: found out)"),
        ("--sheet", "NAME", "of a workbook (default: the first)"),
        ("--only-press", "CODE", "keep rows of other presses apart"),
        ("--getid", "FILE", "the GETID file with the units of a report"),
        ("--rejected", "FILE", "rejected rows with the reason (default: beside FILE)"),
    ):
        take.add_argument(option, metavar=metavar, help=text)
    take.add_argument("--date-order", choices=("year_first", "day_first", "month_first"))
    take.add_argument("--decimal", choices=("point", "comma"), help="default: found out")
    take.add_argument(
        "--cavities", choices=("keep", "sum"), help="sum: rows of the same counter and time are one shot"
    )
    take.add_argument("--unwrap", action="store_true", help="read 655.31 and its like as small negatives")
    take.add_argument("--look", action="store_true", help="say what the files hold and store nothing")
    take.set_defaults(run="cli_import.import_files")


def _rest(subparsers: "argparse._SubParsersAction[_Parser]") -> None:
    simulate = _command(
        subparsers, "simulate", "shots of a simulated press, the truth beside them",
        "ringtell simulate shots.csv --shots 5000 --story steady_leak --seed 7",
    )  # fmt: skip
    simulate.add_argument("file", help="CSV of shots; FILE.truth.csv gets what was hidden")
    simulate.add_argument("--shots", type=int, default=2000)
    simulate.add_argument("--story", default="healthy", choices=STORIES)
    simulate.add_argument("--seed", type=int, default=1)
    simulate.add_argument("--press", default="P01")
    simulate.add_argument("--mold", default="M-1")
    simulate.add_argument("--start", metavar="TIME", default="2026-01-05T06:00:00Z")
    simulate.set_defaults(run="simulate")

    evaluate = _command(
        subparsers, "evaluate", "run charts, findings and scores again", "ringtell evaluate --rebuild"
    )
    evaluate.add_argument("--rebuild", action="store_true", required=True)
    evaluate.add_argument("--press", action="append", default=[])
    evaluate.add_argument("--workers", type=int, default=0, help="presses at a time (default: every core)")
    evaluate.add_argument(
        "--scheduler", default="", metavar="ADDRESS", help="compute on the workers of a Dask scheduler"
    )
    evaluate.add_argument(
        "--afresh", action="store_true", help="all of it, not what is left of one that was cut short"
    )
    evaluate.set_defaults(run="evaluate")

    key = _command(subparsers, "key", "device keys", "ringtell key create --press P07")
    key_acts = key.add_subparsers(metavar="ACT", parser_class=_Parser)
    create = _command(key_acts, "create", "a key, shown once", "ringtell key create --press P07")
    create.add_argument("--press", default="", help="the only press it is for (default: all)")
    create.add_argument("--name", default="")
    create.add_argument("--scope", action="append", default=[], help="ingest (default), read, act")
    create.set_defaults(run="cli_keys.key_create")
    listed = _command(key_acts, "list", "every key, with its last use", "ringtell key list")
    listed.set_defaults(run="cli_keys.key_list")
    rotate = _command(
        key_acts, "rotate", "a successor, shown once; the old key goes on for a while",
        "ringtell key rotate 3 --overlap-hours 72",
    )  # fmt: skip
    rotate.add_argument("key", type=int, help="its number in ringtell key list")
    rotate.add_argument("--overlap-hours", type=float, default=72.0)
    rotate.set_defaults(run="cli_keys.key_rotate")
    revoke = _command(key_acts, "revoke", "a key opens nothing any more", "ringtell key revoke 3")
    revoke.add_argument("key", type=int, help="its number in ringtell key list")
    revoke.set_defaults(run="cli_keys.key_revoke")
    key.set_defaults(run="needs_act", prog="ringtell key")

    user = _command(subparsers, "user", "people", "ringtell user add mara --role plant_engineer")
    user_acts = user.add_subparsers(metavar="ACT", parser_class=_Parser)
    add = _command(
        user_acts, "add", "a person, with a one-time password", "ringtell user add mara --role line_lead"
    )
    add.add_argument("name")
    add.add_argument("--role", required=True, choices=ROLES)
    add.set_defaults(run="user_add")
    user.set_defaults(run="needs_act", prog="ringtell user")


def _loaded(name: str) -> ModuleType:
    """Loaded late: --help and a wrong word need none of the server.

    What modules bring stays for good: looking through it for garbage, while loading and ever after, took a
    fifth of the start and a third of reading many rows.
    """
    if name in sys.modules:
        return sys.modules[name]
    gc.disable()
    try:
        return importlib.import_module(name)
    finally:
        gc.freeze()
        gc.enable()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; the exit code."""
    try:
        given = parser().parse_args(arguments)
        if given.run is None:
            parser().print_help()
            return 0
        # Before what is loaded starts threads of its own.
        few_arenas()
        home, _, act = given.run.rpartition(".")
        getattr(_loaded(f"server.{home or 'cli_commands'}"), act)(given)
    except RingtellError as error:
        sys.stderr.write(f"ringtell: {error.message}\n")
        return 2 if isinstance(error, UsageError) or error.status in (400, 422) else 1
    except OSError as error:
        sys.stderr.write(f"ringtell: {error}\n")
        return 1
    except Exception as error:
        # A database that is full, held or away is foreseen; its library is loaded by now, if at all.
        trouble = importlib.import_module("server.store.trouble").trouble_of(error)
        if trouble is None:
            raise
        sys.stderr.write(f"ringtell: {trouble.message}\n")
        return 1
    except KeyboardInterrupt:
        return 130
    return 0
