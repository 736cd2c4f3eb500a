"""A source tells the server how it is doing, now and then, from a thread of its own."""

import logging
import threading
from collections.abc import Callable, Sequence
from typing import Final

import msgspec

from server.clock import as_text
from server.collect.forward import ForwardCounts, TryLaterError
from server.collect.source import SourceState
from server.collect.spool import Spool

log = logging.getLogger("ringtell.collect")

EVERY_S: Final = 15.0
_FIRST_AFTER_S: Final = 2.0
_APART: Final = 10
_RAW_MAX: Final = 300

#: Takes the name of the source and its report as JSON; raises `TryLaterError`.
Tell = Callable[[str, bytes], None]


class Reporter:
    """`start`, `stop`; the last word is said when stopping."""

    def __init__(
        self,
        tell: Tell,
        state: SourceState,
        spool: Spool,
        counts: ForwardCounts,
        *,
        refresh: Sequence[Callable[[], None]] = (),
        every_s: float = EVERY_S,
    ) -> None:
        self._tell = tell
        self._state = state
        self._spool = spool
        self._counts = counts
        self._refresh = refresh
        self._every_s = every_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ringtell-report", daemon=True)
        self._quiet = False

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(timeout=5)
        self.say()

    def say(self) -> None:
        """One report; that the server does not hear is told once, not at every try.

        Beside the spool a file `….alive` is touched: whoever watches the process looks at its age.
        """
        self._spool.path.with_suffix(".alive").touch()
        for one in self._refresh:
            one()
        document = self._state.document(self._spool.state(), self._counts)
        document["apart"] = [
            {
                "press": one.press[:80],
                "at": as_text(one.apart_ms),
                "code": one.code[:80],
                "reason": one.reason[:_RAW_MAX],
                "raw": one.raw[:_RAW_MAX],
            }
            for one in self._spool.apart(_APART)
        ]
        try:
            self._tell(self._state.name, msgspec.json.encode(document))
            self._quiet = False
        except TryLaterError as error:
            if not self._quiet:
                log.warning("the server does not hear how this source is doing: %s", error.message)
            self._quiet = True

    def _run(self) -> None:
        wait_s = _FIRST_AFTER_S
        while not self._stop.wait(wait_s):
            wait_s = self._every_s
            try:
                self.say()
            except Exception:  # a report that fails must end no collecting
                log.exception("reporting failed")
