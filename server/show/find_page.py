"""What the page that finds things prints, and the API answers, as frozen dataclasses."""

import dataclasses

from server.show.frame import Frame


@dataclasses.dataclass(frozen=True)
class Found:
    """One thing: what it is called, one line on what it is, where it is. `exact`: called as was asked."""

    kind: str
    title: str
    text: str
    href: str
    exact: bool = False


@dataclasses.dataclass(frozen=True)
class FoundGroup:
    """Things of one kind. `more`: there are others, which more words would find."""

    kind: str
    title: str
    rows: tuple[Found, ...]
    more: bool = False


@dataclasses.dataclass(frozen=True)
class FindPage:
    frame: Frame
    answer: str
    under: str
    asked: str
    groups: tuple[FoundGroup, ...]
    #: What can be looked for, shown where nothing was asked or found.
    can: tuple[str, ...] = ()
