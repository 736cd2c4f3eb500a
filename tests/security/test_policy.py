"""The strict policy stands on every page, and no page needs what it forbids."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.store.engine import upgrade
from tests.security.callers import House, house
from tests.security.route_table import PARTS, TABLE

#: What is read without being a page.
NO_PAGES = (
    "/api/", "/static", "/service", "/open", "/healthz", "/readyz", "/metrics", "/favicon", "/manifest",
)  # fmt: skip
READ = [entry.split(" ", 1)[1] for entry in TABLE if entry.startswith("GET ")]
PAGES = sorted(path for path in READ if not path.startswith(NO_PAGES))
INLINE = re.compile(r"<script(?![^>]*\bsrc=)|<style|\son[a-z]+=|javascript:|\sstyle=", re.I).search


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    file: Path = tmp_path_factory.mktemp("policy") / "plant.db"
    upgrade(f"sqlite:///{file}")
    with house(f"sqlite:///{file}") as found:
        yield found


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_bound_and_fits_its_bounds(whole: House, page: str) -> None:
    # What PARTS calls 900001 is nowhere: the page that says so is bound like any other.
    expected = 404 if "{number}" in page else 200
    for name, value in PARTS.items():
        page = page.replace("{" + name + "}", value)
    answer = whole.send("administrator", "GET", page)
    assert answer.status_code == expected
    policy = answer.headers["content-security-policy"]
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";") if part.strip())
    assert directives["script-src"] == directives["default-src"] == "'self'"
    assert directives["frame-ancestors"] == directives["base-uri"] == directives["object-src"] == "'none'"
    assert "unsafe" not in policy
    found = INLINE(answer.text)
    assert found is None, answer.text[max(0, found.start() - 60) : found.end() + 60] if found else ""
