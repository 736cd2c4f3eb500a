"""What happens when evaluation of a press raises: the shot it fails with is found and set aside.

The shot is not lost: it is kept whole among the rows kept apart, with the reason, and can be taken
back once it is corrected or the fault is mended. The press goes on without it; other presses never
notice. When no single shot is to blame, or too many would be, the press rests and its page says why.
"""

import collections
import json
import logging
import time
from collections.abc import Callable, Mapping
from typing import Any, Final

import sqlalchemy as sa

from server.child import Child, ChildDiedError, Elsewhere
from server.clock import as_text
from server.contract import SHOT_COLUMNS, SHOT_DOCUMENTS
from server.evaluate.press import keys_ahead, try_shots
from server.store import poison, quarantine
from server.store.audit import add_audit
from server.store.database import Store
from server.store.plant import press_by_id
from server.store.trouble import trouble_of

log = logging.getLogger("ringtell")

#: Shots of one press set aside within an hour before the fault must lie elsewhere.
MOST_AN_HOUR: Final = 20
_HOUR_S: Final = 3600.0
#: A press whose shots all work when tried is tried again at once, but not twice within this time: then
#: it fails elsewhere, where its evaluation lands.
_TRIED_AGAIN_S: Final = 600.0
_REASON_MAX: Final = 300


class Isolation:
    """Finds and sets aside the shot with which a press's evaluation fails."""

    def __init__(self, store: Store, child: Child | Elsewhere, *, now_ms: Callable[[], int]) -> None:
        self._store = store
        self._child = child
        self._now_ms = now_ms
        self._times: dict[int, collections.deque[float]] = collections.defaultdict(collections.deque)
        self._tried_again: dict[int, float] = {}

    def set_aside(self, press_id: int, error: Exception) -> bool:
        """True when a shot was set aside, or when what failed works now: try the press again."""
        if isinstance(error, MemoryError) or not self._may_set_aside(press_id):
            return False
        keys = self._child.run(keys_ahead, press_id)
        count = self._first_bad(press_id, len(keys))
        if count is None:
            return self._may_try_again(press_id)
        if count == 0:
            return False
        key = keys[count - 1]
        reason = f"{type(error).__name__}: {error}"[:_REASON_MAX]
        now_ms = self._now_ms()
        self._store.write(lambda connection: _move(connection, press_id, key, reason, now_ms=now_ms))
        self._times[press_id].append(time.monotonic())
        log.error("press %s: the shot %s was set aside, evaluation fails with it: %s", press_id, key, reason)
        return True

    def _may_set_aside(self, press_id: int) -> bool:
        times = self._times[press_id]
        while times and time.monotonic() - times[0] > _HOUR_S:
            times.popleft()
        return len(times) < MOST_AN_HOUR

    def _may_try_again(self, press_id: int) -> bool:
        last, now = self._tried_again.get(press_id), time.monotonic()
        if last is not None and now - last < _TRIED_AGAIN_S:
            return False
        self._tried_again[press_id] = now
        return True

    def _first_bad(self, press_id: int, count: int) -> int | None:
        """The smallest number of shots that fails (0: even none), or None when all of them work now."""
        if not self._fails(press_id, count):
            return None
        works, fails = -1, count
        while fails - works > 1:
            middle = (works + fails) // 2
            if self._fails(press_id, middle):
                fails = middle
            else:
                works = middle
        return fails

    def _fails(self, press_id: int, count: int) -> bool:
        try:
            self._child.run(try_shots, press_id, count)
        except ChildDiedError:
            return True
        except Exception as error:
            if trouble_of(error) is not None:
                raise
            return True
        return False


def _move(
    connection: sa.Connection, press_id: int, key: tuple[int, int], reason: str, *, now_ms: int
) -> None:
    press = press_by_id(connection, press_id)
    shot = poison.whole_shot(connection, press_id, key)
    if shot is None:
        return
    poison.take_out(connection, press_id, key)
    at = as_text(key[0])
    row = quarantine.Apart(
        press=press.press,
        kind=poison.KIND,
        field="",
        code="not_evaluable",
        message=f"the shot of {at} (counter {key[1]}) cannot be evaluated: {reason}",
        raw=_line(press.press, shot),
        replayable=True,
        source="evaluation",
    )
    quarantine.keep_apart(connection, [row], now_ms=now_ms)
    add_audit(
        connection,
        press_id,
        now_ms=now_ms,
        who="ringtell",
        action="shot_set_aside",
        subject=f"shot {at} {key[1]}",
        after={"reason": reason},
    )


def _line(press: str, shot: Mapping[str, Any]) -> str:
    """The shot as the self-contained line kept of every replayable row; unreadable values as they are."""
    fields: dict[str, Any] = {"counter": shot["counter"], "at": as_text(shot["at_ms"]), "press": press}
    for name in ("mold", "material", "setup"):
        if shot[name]:
            fields[name] = shot[name]
    for name in ("setpoints", *SHOT_COLUMNS):
        value = shot[name]
        if value is None or (name == "setpoints" and value == "{}"):
            continue
        fields[name] = _document(value) if name in (*SHOT_DOCUMENTS, "setpoints") else value
    return json.dumps(fields, ensure_ascii=False, default=repr)


def _document(text: Any) -> Any:
    try:
        return json.loads(text)
    except (ValueError, TypeError):
        return repr(text)
