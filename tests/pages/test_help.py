"""Help in place: everything that has a name is explained, and every link from a page leads to its entry."""

import re
from collections.abc import Iterator

import pytest

from server.contract import ALARM_KINDS, BOTTOMING, BUDGETED, CAUSES, RUN_RULES, SIGNALS
from server.language import N_, Language, spoken
from server.store.database import Store
from server.valve.checks import Part
from server.valve.evidence_words import TERM_TEXT
from server.valve.press_checks import PRESS_CHECKS
from server.valve.recalibration import KEPT_TERMS
from server.words.catalogue import STUDY, Entry, shared_entries
from server.words.help_evidence import evidence_anchor
from server.words.help_terms import entry_called, help_groups, speaks_of
from server.words.prior_words import prior_signal
from tests.pages.plant import make_plant
from tests.pages.server import page_server
from tests.pages.test_pages import Visitor

PAGES = (
    "/", "/presses/P07", "/presses/P11", "/presses/P02/data-quality", "/presses/P07/baselines",
    "/presses/P07/baselines/1", "/presses/P07/baselines/compare?first=1&second=now", "/presses/P07/setups",
    "/molds", "/molds/M-113", "/alarms", "/alarms?state=all", "/alarms/performance", "/alarm-budget",
    "/containment", "/studies", "/trials", "/valves", "/cases", "/settings", "/score", "/find?q=cushion",
    "/help",
)  # fmt: skip
#: What each of these pages has to explain where it stands.
EXPLAINED = {
    "/": ("likelihood", "stroke-strip"),
    "/presses/P07": (
        "likelihood", "evidence-prior", "evidence-swept_level", "steady_leak", "startup-record", "swept_mm",
        "alarm-leak", "stroke-strip",
    ),
    "/molds/M-113": (
        "part_weight_g", "ppk", "cpk", "pp-cp", "cpm", "percentile-method", "normality", "stability",
        "interval-95", "demand-chance", "stands-out", "sigma-within", "outside-limits",
    ),
    "/alarms": ("alarm-leak",),
    "/studies": tuple(
        f"check-{kind}" for kind in ("short-shot", "drift-check", "gate-seal", "qualification", "inspection")
    ),
    "/presses/P07/baselines": ("qualified", "startup-record"),
    "/presses/P07/baselines/1": (
        "qualified", "sigma-within", "false-alarm", "neighbours-alike", "shape", "display-step", "left-out",
    ),
    "/score": ("likelihood", "ranking", "brier", "calibration", "evidence-own_inspections"),
    "/settings": ("units", "local-time"),
}  # fmt: skip
_ANCHOR = re.compile(r'href="/help#([^"]+)"')


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    store: Store = make_plant(tmp_path_factory.mktemp("help"))
    yield Visitor(page_server(store))
    store.close()


def entries() -> list[Entry]:
    return [entry for _title, group in help_groups() for entry in group]


def need(anchor: str) -> Entry:
    found = entry_called(anchor)
    assert found is not None, f"nothing explains {anchor}"
    return found


@pytest.mark.parametrize("kind", ALARM_KINDS)
def test_every_kind_of_alarm_says_when_it_opens_and_what_to_do(kind: str) -> None:
    entry = need(f"alarm-{kind}")
    assert entry.formula
    assert entry.source
    assert entry.act


@pytest.mark.parametrize("code", [*CAUSES, *SIGNALS, *RUN_RULES, BOTTOMING, *BUDGETED])
def test_every_cause_signal_and_rule_has_formula_source_and_what_to_do(code: str) -> None:
    entry = need(code)
    assert entry.meaning
    assert entry.formula
    assert entry.source
    assert entry.act


@pytest.mark.parametrize("term", sorted({*TERM_TEXT, *KEPT_TERMS, "valve_age"}))
def test_every_piece_of_evidence_is_explained(term: str) -> None:
    entry = need(evidence_anchor(term))
    assert entry.id == f"evidence-{term}"
    assert entry.formula
    assert entry.source
    assert entry.act


def test_every_part_of_the_prior_leads_to_an_entry() -> None:
    for source in ("prevalence", "valve_age", "drift-check", "short-shot", "inspection", "proof"):
        need(evidence_anchor(prior_signal(Part(source, 1.0))))


@pytest.mark.parametrize(
    "check", [*(f"check-{kind}" for kind in STUDY), *(f"press-check-{c}" for c in PRESS_CHECKS)]
)
def test_every_check_has_formula_source_and_what_to_do(check: str) -> None:
    entry = need(check)
    assert entry.formula
    assert entry.source
    assert entry.act


@pytest.mark.parametrize("entry", entries(), ids=lambda entry: entry.id)
def test_an_entry_says_what_it_means_from_where_and_what_to_do(entry: Entry) -> None:
    assert entry.meaning.endswith((".", "?"))
    assert entry.source
    assert entry.act.endswith((".", "?")), entry.id


def test_no_two_entries_have_one_anchor() -> None:
    ids = [entry.id for entry in entries()]
    assert len(ids) == len(set(ids))
    assert set(shared_entries("cautions")) <= {one.removeprefix("caution-") for one in ids}


@pytest.mark.parametrize("path", PAGES)
def test_every_link_to_the_help_leads_to_an_entry_that_is_there(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path)
    assert answer.status_code == 200
    there = set(re.findall(r'id="([^"]+)"', visitor.get("/help").text))
    linked = set(_ANCHOR.findall(answer.text))
    assert linked - there == set()


@pytest.mark.parametrize("path", EXPLAINED)
def test_pages_explain_what_stands_on_them(visitor: Visitor, path: str) -> None:
    linked = set(_ANCHOR.findall(visitor.get(path).text))
    assert set(EXPLAINED[path]) - linked == set()


def test_each_line_of_evidence_and_each_alarm_has_its_own_mark(visitor: Visitor) -> None:
    text = visitor.get("/presses/P07").text
    assert len(re.findall(r'href="/help#evidence-', text)) >= 10
    text = visitor.get("/alarms").text
    cards = text.count('<article class="alarm')
    assert cards
    assert len(re.findall(r'<p class="suspects">.*?href="/help#alarm-', text)) == cards


def test_without_a_script_the_field_shows_what_speaks_of_the_words_and_hides_the_rest(
    visitor: Visitor,
) -> None:
    text = visitor.get("/help?q=short-term+SCATTER").text
    shown = re.findall(r'<div class="term" id="([^"]+)" data-entry>', text)
    hidden = re.findall(r'<div class="term" id="([^"]+)" data-entry hidden>', text)
    assert "cpk" in shown
    assert "hot_melt" not in shown
    assert "alarm-silent" in hidden
    assert len(shown) + len(hidden) == len(entries())
    assert 'value="short-term SCATTER"' in text
    assert re.search(r"<output[^>]*>\d+ of \d+ entries\.</output>", text)
    assert " hidden" not in "".join(re.findall(r'<div class="term"[^>]*>', visitor.get("/help").text))
    nothing = visitor.get("/help?q=zeppelin").text
    assert "Nothing here speaks of that." in nothing
    assert not re.findall(r"data-entry>", nothing)


def test_the_field_takes_so_many_letters_and_no_more(visitor: Visitor) -> None:
    assert visitor.get(f"/help?q={'x' * 80}").status_code == 200
    assert visitor.get(f"/help?q={'x' * 81}").status_code == 422


def test_words_are_those_the_reader_sees() -> None:
    entry = Entry("x", N_("Cpk"), N_("How far."), "", N_("ISO."), N_("Go."))
    other = Language("xx", lambda text: f"{text[::-1]}", lambda one, many, n: one if n == 1 else many)
    with spoken(other):
        assert speaks_of(entry, ["kpc"])
        assert not speaks_of(entry, ["cpk"])


def test_the_keys_stand_on_the_help_page_too(visitor: Visitor) -> None:
    text = visitor.text("/help")
    for words in (
        "through the rows of presses, alarms",
        "to the first and the last",
        "to the field that finds",
    ):
        assert words in text
