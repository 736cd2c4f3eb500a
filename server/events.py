"""What is told to open pages when something happened: ids only, never values."""

import dataclasses
from typing import Literal

EventKind = Literal["shots", "finding", "alarm", "score", "press"]


@dataclasses.dataclass(frozen=True)
class Happened:
    """Something about `subject` (a press code or an alarm id) changed."""

    kind: EventKind
    subject: str
