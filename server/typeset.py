"""Pages to PDF, in a process of its own: what sets type takes a hundred megabytes, and may take long.

Nothing is ever fetched: a paper carries its style and its drawings, and whatever else a text of somebody's
might point at is refused, inside the plant and outside it.
"""

import contextlib
import functools
import os
import re
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

from server.errors import BusyError, RingtellError, TooLargeError
from server.language import N_
from server.waiting import Turns

#: Longest a paper may take, and largest it may be: half a megabyte of table took 20 s and 600 MB, four times
#: as much four times both.
LONGEST_S: Final = 60.0
LARGEST: Final = 2 << 20
#: Memory a paper may take beside what the process has when it begins, and largest the PDF may be.
MEMORY: Final = 1 << 30
LARGEST_PDF: Final = 16 << 20
#: Longest another one is waited for, and how many may wait: whoever waits holds a thread that others want.
WAIT_S: Final = 5.0
WAITING: Final = 3
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
            N_(
                "PDF needs Pango on the server (Debian: libpango-1.0-0 libpangoft2-1.0-0"
                " libharfbuzz-subset0); until then print the page from the browser. {error}",
                error=error,
            )
        ) from None

    class Nothing(weasyprint.urls.URLFetcher):  # type: ignore[misc]  # it comes without types
        """What a text points at is left out."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            raise ValueError(f"a paper fetches nothing, not {url[:60]!r} either")

    made: bytes = weasyprint.HTML(string=html, url_fetcher=Nothing()).write_pdf()
    return made


@functools.cache
def _bound_memory(most: int) -> None:
    """Once a process, before its first paper; where a system has no such limits, time is the only one."""
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        pages = int(Path("/proc/self/statm").read_text().split()[0])
        limit = pages * resource.getpagesize() + most
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))


def _bounded(work: Callable[[str], bytes], html: str, longest_s: float, memory: int) -> bytes:
    """Work that ends by itself when nobody is left to end it, and hands nothing huge over."""
    _bound_memory(memory)
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (int(time.process_time() + 2 * longest_s) + 1, hard))
    made = work(html)
    if len(made) > LARGEST_PDF:
        raise MemoryError
    return made


def _too_large() -> TooLargeError:
    return TooLargeError(
        N_("the report is too large to be set as PDF; ask for a shorter stretch, or print its page")
    )


class Typesetter:
    """Sets one paper at a time in a child process, which ends after a while of papers."""

    def __init__(
        self,
        work: Callable[[str], bytes] = set_type,
        *,
        longest_s: float = LONGEST_S,
        memory: int = MEMORY,
    ) -> None:
        self._work = work
        self._longest_s, self._memory = longest_s, memory
        self._pool: ProcessPoolExecutor | None = None
        self._turns = Turns(
            at_once=1, waiting=WAITING, wait_s=WAIT_S, retry_after_s=10,
            said="another report is being set; try again in a while",
        )  # fmt: skip

    def pdf(self, html: str) -> bytes:
        """Raises BusyError where others are being set, or this one takes too long; TooLargeError."""
        if len(html) > LARGEST:
            raise _too_large()
        with self._turns.take():
            return self._set(html)

    def _set(self, html: str) -> bytes:
        try:
            if self._pool is None:
                context = get_context("spawn")
                self._pool = ProcessPoolExecutor(1, mp_context=context, max_tasks_per_child=20)
            done = self._pool.submit(_bounded, self._work, html, self._longest_s, self._memory)
            return done.result(self._longest_s)
        except MemoryError:
            self._end()
            raise _too_large() from None
        except TimeoutError:
            self._end()
            raise BusyError(
                N_(
                    "the report took longer than {longest_s:.0f} s; ask for a shorter stretch",
                    longest_s=self._longest_s,
                )
            ) from None
        except BrokenProcessPool:
            self._end()
            raise BusyError(
                N_(
                    "the process that sets reports ended, for want of memory or time; try again, or ask"
                    " for a shorter stretch"
                )
            ) from None

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
