"""How the C library hands out memory: from few places, so that what is given back can be used again."""

import contextlib
import ctypes
from typing import Final

#: glibc's `M_ARENA_MAX` (malloc.h), and how many. Each thread else gets an arena of its own, whose free
#: pieces no other thread uses: over 32 hours of the rated load 7 MB a million shots, with two 0.9.
_M_ARENA_MAX: Final = -8
ARENAS: Final = 2


def few_arenas() -> bool:
    """Limit the arenas of this process, before it starts threads; False where the C library knows none."""
    with contextlib.suppress(OSError, AttributeError, TypeError):
        return bool(ctypes.CDLL(None).mallopt(_M_ARENA_MAX, ARENAS))
    return False
