"""Waiting: for so long or until it is time to stop, and for a full spool."""

import asyncio
import logging
from collections.abc import Callable
from typing import Final

from server.collect.source import SourceState
from server.collect.spool import SpoolFullError, StoppedWaitingError

log = logging.getLogger("ringtell.collect")

#: Seconds after which a full spool is tried again.
FULL_WAIT_S: Final = 5.0


async def pause(stop: asyncio.Event, seconds: float) -> None:
    """Wait so long, or until it is time to stop."""
    try:
        await asyncio.wait_for(stop.wait(), seconds)
    except TimeoutError:
        return


async def keep_patiently(keep: Callable[[], None], *, state: SourceState, stop: asyncio.Event) -> None:
    """Into the spool; a full one is waited for, loudly: the source stays unacknowledged meanwhile.

    Raises `StoppedWaitingError` when it is time to stop while the spool is full.
    """
    waited = False
    while True:
        try:
            await asyncio.to_thread(keep)
        except SpoolFullError as full:
            waited = True
            state.trouble(full.message)
            log.error("%s", full.message)
            if stop.is_set():
                raise StoppedWaitingError from None
            await pause(stop, FULL_WAIT_S)
        else:
            if waited:
                state.trouble("")
            return
