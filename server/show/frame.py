"""What every page carries around its answer: navigation, plant, clock, person."""

import dataclasses
from collections.abc import Mapping

from server.language import N_
from server.words.times import Zone
from server.words.units import STORED, Units

#: Address and word of each main page, in order.
NAVIGATION = (
    ("/", N_("Plant")),
    ("/alarms", N_("Alarms")),
    ("/cases", N_("Cases")),
    ("/containment", N_("Containment")),
    ("/molds", N_("Molds")),
    ("/studies", N_("Studies")),
    ("/valves", N_("Valves")),
)
#: Keys that lead to a page after `g`, with its address and word.
GO = (
    ("p", "/", N_("Plant")),
    ("a", "/alarms", N_("Alarms")),
    ("c", "/cases", N_("Cases")),
    ("h", "/containment", N_("Containment")),
    ("m", "/molds", N_("Molds")),
    ("s", "/studies", N_("Studies")),
    ("v", "/valves", N_("Valves")),
    ("r", "/reports", N_("Reports")),
    ("i", "/import", N_("Import")),
    ("w", "/help", N_("Help")),
)
#: Other keys, with what they do; those that belong together stand together.
KEYS = (
    (("/",), N_("to the field that finds")),
    (("↓", "↑"), N_("through the rows of presses, alarms, molds and lists; Enter opens")),
    (("Home", "End"), N_("to the first and the last of these rows")),
    (("j", "k"), N_("down and up through the rows, wherever the page stands")),
    (("?",), N_("the list of keys")),
)
#: Pages of the foot line.
MORE = (
    ("/reports", N_("Reports")),
    ("/import", N_("Import")),
    ("/sources", N_("Sources")),
    ("/settings", N_("Settings")),
    ("/access", N_("Access")),
    ("/help", N_("Help")),
)


@dataclasses.dataclass(frozen=True)
class Frame:
    """`active` is the address of the navigation entry this page belongs to."""

    title: str
    active: str
    plant_name: str
    clock_text: str
    person: str = ""
    role: str = ""
    note: str = ""
    #: What the person may do, by the access layer's names, and the presses it may be done to; None: all.
    may: frozenset[str] = frozenset()
    presses: frozenset[str] | None = None
    #: The page is about a press outside the person's areas.
    elsewhere: bool = False
    signed_in: bool = False
    #: Seconds without a touch after which a shared tablet asks who is there; 0: this is none.
    lock_after_s: int = 0
    #: Units of whoever looks.
    units: Units = STORED

    def may_on(self, permission: str, press: str) -> bool:
        """Whether the person may do this to a press; whoever has areas acts on the presses there alone."""
        return permission in self.may and (self.presses is None or press in self.presses)

    @property
    def corner(self) -> str:
        """The line at the right of the head."""
        return " · ".join(part for part in (self.plant_name, self.clock_text, self.note) if part)


@dataclasses.dataclass(frozen=True)
class Actor:
    """Who looks at a page, as far as a page cares."""

    name: str = ""
    role: str = ""
    may: frozenset[str] = frozenset()
    #: With a password, so that there is something to sign out of.
    signed_in: bool = False
    #: On a shared tablet, where people change over.
    on_tablet: bool = False
    #: Units by quantity where they are not the plant's.
    units: Mapping[str, str] = dataclasses.field(default_factory=dict)
    #: The language they chose; '': none.
    language: str = ""
    #: The presses there is a right to act on; None: all.
    presses: frozenset[str] | None = None
    #: On the page of a press there is no right to act on.
    elsewhere: bool = False


def frame(
    title: str,
    *,
    active: str,
    plant_name: str,
    zone: Zone,
    now_ms: int,
    actor: Actor,
    note: str = "",
    lock_after_s: int = 0,
    units: Units = STORED,
) -> Frame:
    return Frame(
        title=title,
        active=active,
        plant_name=plant_name,
        clock_text=zone.clock_with_zone(now_ms),
        person=actor.name,
        role=actor.role,
        note=note,
        may=actor.may,
        presses=actor.presses,
        elsewhere=actor.elsewhere,
        signed_in=actor.signed_in,
        lock_after_s=lock_after_s if actor.on_tablet else 0,
        units=units,
    )
