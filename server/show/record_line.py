"""What the press page says of the startup record in use: qualified or not, and what is advised."""

import dataclasses

import sqlalchemy as sa

from server.derived.baseline_advice import advice_for
from server.derived.qualification import qualification_of
from server.show.baseline_words import AdviceLines, advice_lines, qualification_text, qualification_word
from server.show.plant_words import Plant, press_href
from server.store.page_queries import Row
from server.store.plant import press_by_id
from server.store.records import baseline_by_no


@dataclasses.dataclass(frozen=True)
class RecordLine:
    """`word`: qualified or relative only, '' without a record in use; `compare_href` likewise.

    holds_no: a record that is approved while no shot came after it; draft_no: one that waits for approval.
    """

    word: str
    text: str
    advice: AdviceLines | None
    href: str
    compare_href: str
    holds_no: int | None = None
    draft_no: int | None = None


def record_line(connection: sa.Connection, plant: Plant, row: Row) -> RecordLine:
    press, number = press_by_id(connection, row["press_id"]), row["baseline_no"]
    record = None if number is None else baseline_by_no(connection, press.press_id, number)
    found = advice_for(connection, press, row)
    advice = advice_lines(found, plant)
    href = f"{press_href(press.press)}/baselines"
    if record is None:
        return RecordLine(
            "",
            "",
            advice,
            href,
            "",
            holds_no=found.in_use.baseline_no if found.in_use else None,
            draft_no=found.draft.baseline_no if found.draft else None,
        )
    beside = qualification_of(connection, press, record)
    return RecordLine(
        word=qualification_word(beside),
        text=qualification_text(beside, plant),
        advice=advice,
        href=href,
        compare_href=f"{href}/compare?first={record.baseline_no}&second=now",
    )
