"""The open case of each press, as a line other pages lead to it with."""

import sqlalchemy as sa

from server.language import _
from server.show.pages import CaseLine
from server.show.plant_words import case_href
from server.store.cases import open_cases
from server.store.plant import all_presses


def case_lines(connection: sa.Connection) -> dict[int, CaseLine]:
    """By press; presses without an open case are left out."""
    cases = open_cases(connection)
    if not cases:
        return {}
    codes = {press.press_id: press.press for press in all_presses(connection)}
    return {
        press_id: CaseLine(
            name=_("Case {case_no}", case_no=case.case_no),
            href=case_href(codes[press_id], case.case_no),
            text=_("with {owner}", owner=case.owner) if case.owner else _("nobody owns it"),
        )
        for press_id, case in cases.items()
        if press_id in codes
    }
