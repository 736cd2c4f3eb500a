"""Pages to PDF, in a process of its own: what sets type takes a hundred megabytes, and may take long.

Nothing is ever fetched: a paper carries its style and its drawings, and whatever else a text of somebody's
might point at is refused, inside the plant and outside it.
"""

import os
import re
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, Final

from server.errors import BusyError, RingtellError

#: Longest a paper may take, and largest it may be.
LONGEST_S: Final = 60.0
#: Longest another one is waited for: whoever waits holds a thread that others want.
WAIT_S: Final = 5.0
LARGEST: Final = 8 << 20
_TOKEN = re.compile(r"var\(--([a-z-]+)\)")


class CannotSetTypeError(RingtellError):
    """This machine lacks what sets type."""

    code, status, title = "pdf_unavailable", 501, "PDF cannot be made here"


def for_drawings(style: str, tokens: dict[str, str]) -> str:
    """The rules of a style sheet a drawing needs, with the tokens' values in their places.

    Drawings are set apart from the page around them: neither its rules nor its tokens reach them.

    >>> for_drawings("/* note */ .a { fill: var(--ink); }\\n@media print { .b { } }", {"ink": "#000"})
    '.a { fill: #000; }'
    """
    plain = re.sub(r"/\*.*?\*/", "", style, flags=re.S)
    plain = re.sub(r"@media[^{]*\{(?:[^{}]*\{[^{}]*\})*[^{}]*\}", "", plain)
    return _TOKEN.sub(lambda found: tokens.get(found[1], "#000"), plain).strip()


def set_type(html: str) -> bytes:
    """The PDF of a page that carries everything it needs. Raises CannotSetTypeError."""
    try:
        import weasyprint  # here alone, in the process that sets type
    except (ImportError, OSError) as error:
        raise CannotSetTypeError(
            "PDF needs Pango on the server (Debian: libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0); "
            f"until then print the page from the browser. {error}"
        ) from None

    class Nothing(weasyprint.urls.URLFetcher):  # type: ignore[misc]  # it comes without types
        """What a text points at is left out."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            raise ValueError(f"a paper fetches nothing, not {url[:60]!r} either")

    made: bytes = weasyprint.HTML(string=html, url_fetcher=Nothing()).write_pdf()
    return made


class Typesetter:
    """Sets one paper at a time in a child process, which ends after a while of papers."""

    def __init__(self, work: Callable[[str], bytes] = set_type, *, longest_s: float = LONGEST_S) -> None:
        self._work = work
        self._longest_s = longest_s
        self._pool: ProcessPoolExecutor | None = None
        self._lock = threading.Lock()

    def pdf(self, html: str) -> bytes:
        """Raises BusyError where another paper is being set, or this one takes too long."""
        if len(html) > LARGEST:
            raise BusyError(f"the report is larger than {LARGEST >> 20} MB; ask for a shorter stretch")
        if not self._lock.acquire(timeout=WAIT_S):
            raise BusyError("another report is being set; try again in a while", retry_after_s=10)
        try:
            if self._pool is None:
                context = get_context("spawn")
                self._pool = ProcessPoolExecutor(1, mp_context=context, max_tasks_per_child=20)
            return self._pool.submit(self._work, html).result(self._longest_s)
        except TimeoutError:
            self._end()
            raise BusyError(
                f"the report took longer than {self._longest_s:.0f} s; ask for a shorter stretch"
            ) from None
        except BrokenProcessPool:
            self._end()
            raise BusyError("the process that sets reports ended; try again") from None
        finally:
            self._lock.release()

    def close(self) -> None:
        self._end()

    def _end(self) -> None:
        pool, self._pool = self._pool, None
        if pool is None:
            return
        for process in list((pool._processes or {}).values()):
            if process.is_alive() and process.pid is not None:
                os.kill(process.pid, 9)
        pool.shutdown(wait=True, cancel_futures=True)
