"""Options of `ringtell collect …`; what they do is in `cli_collect`, loaded late."""

import argparse
from collections.abc import Callable
from typing import Any

#: Makes a command below a set of others: set, name, what it does, example.
Command = Callable[[Any, str, str, str], argparse.ArgumentParser]


def add_collect(command: Command, subparsers: Any, parser_class: type[argparse.ArgumentParser]) -> None:
    """`ringtell collect opcua | mqtt | folder` with their options."""
    collect = command(
        subparsers, "collect", "shots from presses that speak OPC UA, a broker, or a folder of files",
        "ringtell collect opcua opc.tcp://press7.example:4840 --press P07",
    )  # fmt: skip
    kinds = collect.add_subparsers(metavar="KIND", parser_class=parser_class)
    _opcua(command, kinds)
    _mqtt(command, kinds)
    _folder(command, kinds)
    collect.set_defaults(run="needs_act", prog="ringtell collect")


def _opcua(command: Command, kinds: Any) -> None:
    opcua = command(
        kinds, "opcua", "cycles of presses that speak OPC 40077 (EUROMAP 77)",
        "ringtell collect opcua opc.tcp://press7.example:4840 --press P07\n"
        "  ringtell collect opcua opc.tcp://cell.example:4840 --browse\n"
        "  ringtell collect opcua opc.tcp://cell.example:4840 --press P07=IMM-A --press P08=SN-4711"
        " --to https://ringtell.example --key-file key.txt",
    )  # fmt: skip
    opcua.add_argument("url", metavar="URL", nargs="?", help="address, like opc.tcp://press7.example:4840")
    opcua.add_argument(
        "--press", action="append", default=[], metavar="P07[=MACHINE]",
        help="code in the plant; where an address has several machines, which: browse name or serial number",
    )  # fmt: skip
    opcua.add_argument("--presses", metavar="FILE", help="many presses: TOML, a [[press]] table each")
    opcua.add_argument("--browse", action="store_true", help="list the presses there, what each would give")
    opcua.add_argument("--pressure-basis", choices=("specific", "hydraulic"), default="specific")
    opcua.add_argument("--assume-units", choices=("metric", "us"), help="where the press names none at all")
    opcua.add_argument("--injection-unit", type=int, metavar="N", help="default: the lowest with a cushion")
    opcua.add_argument("--security", choices=("none", "sign", "encrypt"), default="none")
    opcua.add_argument("--certificate", metavar="FILE", help="ours; default: one is made beside the spool")
    opcua.add_argument("--private-key", metavar="FILE")
    opcua.add_argument("--server-certificate", metavar="FILE", help="the press's; default: first shown")
    opcua.add_argument("--trust-new-certificate", action="store_true", help="the press got another one")
    opcua.add_argument("--user", default="", help="password: RINGTELL_COLLECT_PASSWORD or --password-file")
    opcua.add_argument("--password-file", metavar="FILE")
    opcua.add_argument("--user-certificate", metavar="FILE")
    opcua.add_argument("--user-key", metavar="FILE")
    _common(opcua)
    opcua.set_defaults(run="cli_collect.collect_opcua")


def _mqtt(command: Command, kinds: Any) -> None:
    mqtt = command(
        kinds, "mqtt", "JSON messages of a broker, one shot a message",
        "ringtell collect mqtt mqtts://broker.example --mapping mqtt.toml\n"
        "  ringtell collect mqtt mqtt://broker.example --topic 'plant/imm/{press}/shot'",
    )  # fmt: skip
    mqtt.add_argument("url", metavar="URL", help="mqtt://HOST[:PORT], or mqtts:// with TLS")
    mqtt.add_argument("--topic", metavar="PATTERN", help="topic with {press} as a level; fields by own names")
    mqtt.add_argument(
        "--mapping", metavar="FILE", help="TOML or JSON: topic, fields, units; shared/examples/mqtt.toml"
    )
    mqtt.add_argument("--mqtt-version", type=int, choices=(3, 5), default=3)
    mqtt.add_argument("--user", default="", help="password: RINGTELL_COLLECT_PASSWORD or --password-file")
    mqtt.add_argument("--password-file", metavar="FILE")
    mqtt.add_argument("--ca", metavar="FILE", help="who signed the broker's certificate")
    mqtt.add_argument("--certificate", metavar="FILE", help="ours, where the broker asks for one")
    mqtt.add_argument("--private-key", metavar="FILE")
    _common(mqtt)
    mqtt.set_defaults(run="cli_collect.collect_mqtt")


def _folder(command: Command, kinds: Any) -> None:
    folder = command(
        kinds, "folder", "report files and tables that appear in a folder, read only",
        "ringtell collect folder /srv/press7 --press P07 --mold M-113 --time-zone Europe/Berlin",
    )  # fmt: skip
    folder.add_argument("directory", metavar="DIR")
    folder.add_argument("--press", required=True)
    folder.add_argument("--mold", default="")
    folder.add_argument("--material", default="")
    folder.add_argument("--time-zone", metavar="ZONE", help="of times without an offset, e.g. Europe/Berlin")
    folder.add_argument("--map", action="append", default=[], metavar="COLUMN=FIELD")
    folder.add_argument("--unit", action="append", default=[], metavar="QUANTITY=UNIT")
    folder.add_argument("--injection-unit", type=int, default=1, metavar="N")
    folder.add_argument("--pattern", action="append", default=[], metavar="GLOB", help="of its files")
    folder.add_argument("--every", type=float, default=2.0, metavar="S", help="seconds between two looks")
    _common(folder)
    folder.set_defaults(run="cli_collect.collect_folder")


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--to", metavar="URL", help="send through this server's API; default: the database")
    parser.add_argument("--key", default="", help="device key; better RINGTELL_COLLECT_KEY or --key-file")
    parser.add_argument("--key-file", metavar="FILE", help="a file that holds the device key")
    parser.add_argument("--to-ca", metavar="FILE", help="who signed the server's certificate")
    parser.add_argument("--name", default="", help="of this source on the page of sources")
    parser.add_argument("--spool", metavar="FILE", help="shots on disk until they are delivered")
    parser.add_argument("--spool-shots", type=int, metavar="N", help="most it holds (default 1,000,000)")
    parser.add_argument("--retry-apart", action="store_true", help="try refused shots of the spool again")
