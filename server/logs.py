"""What the server writes to its log: lines for people, or one JSON object a line, each with its request."""

import contextvars
import json
import logging
import re
import secrets
import sys
from typing import Any, Final

from server.clock import as_text
from server.errors import UsageError

#: Id of the request a line belongs to; '' outside of any.
request_id: contextvars.ContextVar[str] = contextvars.ContextVar("request_id", default="")

FORMATS: Final = ("text", "json")
LEVELS: Final = ("debug", "info", "warning", "error")
_GIVEN: Final = re.compile(r"[A-Za-z0-9._-]{1,64}").fullmatch
#: What a LogRecord carries besides what was handed over as `extra`.
_OWN: Final = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime"}


def new_request_id(given: str | None) -> str:
    """The id a caller gave, if it is a plain one; else a fresh one."""
    return given if given and _GIVEN(given) else secrets.token_hex(8)


def on_one_line(text: str) -> str:
    """What cannot be printed written out, so that a value somebody sent never begins a line of its own.

    >>> on_one_line("Ada\\nSET")
    'Ada\\\\nSET'
    """
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() else json.dumps(sign)[1:-1] for sign in text)


class JsonLines(logging.Formatter):
    """One JSON object a line: time, level, logger, message, request, trace, and every extra."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "at": as_text(int(record.created * 1000)),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if request := request_id.get():
            line["request_id"] = request
        line |= {name: value for name, value in vars(record).items() if name not in _OWN}
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return on_one_line(json.dumps(line, ensure_ascii=False, default=str))


class TextLines(logging.Formatter):
    """Time, level, request and message on one line, the trace below, its lines set in."""

    def format(self, record: logging.LogRecord) -> str:
        request = request_id.get()
        mark = f" [{request}]" if request else ""
        line = f"{as_text(int(record.created * 1000))} {record.levelname.lower()}{mark} {record.getMessage()}"
        trace = self.formatException(record.exc_info).splitlines() if record.exc_info else []
        return "\n  | ".join(on_one_line(one) for one in (line, *trace))


def configure(*, form: str, level: str) -> None:
    """Let `ringtell` and `uvicorn` write to standard error in one form, from a level on."""
    if form not in FORMATS:
        raise UsageError(f"RINGTELL_LOG_FORMAT={form!r}: one of {', '.join(FORMATS)}")
    if level not in LEVELS:
        raise UsageError(f"RINGTELL_LOG_LEVEL={level!r}: one of {', '.join(LEVELS)}")
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form == "json" else TextLines())
    for name in ("ringtell", "uvicorn"):
        logger = logging.getLogger(name)
        logger.handlers = [handler]
        logger.propagate = False
        logger.setLevel(level.upper())
    # The log is an outlet of alarms: it tells them at any level.
    logging.getLogger("ringtell.alarms").setLevel(logging.INFO)
