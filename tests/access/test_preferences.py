"""Units and a language of one's own: kept with the person, on their pages and in their files alone."""

from pathlib import Path

import pytest

from server.errors import UsageError
from server.languages import need_language
from server.store.engine import upgrade
from tests.access.plant import plant
from tests.security.callers import House, house
from tests.words.second import a_second_language


def test_units_are_ones_own_on_pages_and_in_files(sqlite_url: str) -> None:
    upgrade(sqlite_url)
    with house(sqlite_url) as here:
        mine, others = "plant_engineer", "administrator"
        assert here.send(others, "PUT", "/api/v1/presses/P01", json={"screw_diameter_mm": 50.8}).is_success
        asked = {"units": {"length": "in", "pressure": "psi"}}
        kept = here.send(mine, "PUT", "/api/v1/me/preferences", json=asked)
        assert kept.json() == {**asked, "language": ""}
        assert here.send(mine, "GET", "/api/v1/me").json()["units"] == asked["units"]
        page, plain = (here.send(who, "GET", "/presses/P01").text for who in (mine, others))
        assert 'value="2" data-factor="25.4"' in page
        assert "units=shown" in page
        assert 'value="50.8" data-factor="1.0"' in plain
        assert "units=shown" not in plain
        assert [_head(here, who) for who in (mine, others)] == ["cushion_in", "cushion_mm"]
        back = here.send(mine, "PUT", "/api/v1/me/preferences", json={"units": {"length": ""}})
        assert back.json()["units"] == {"pressure": "psi"}


def _head(here: House, who: str) -> str:
    """What a file of shots calls the cushion for somebody."""
    first = here.send(who, "GET", "/api/v1/export/shots?units=shown").text.splitlines()[0]
    return next(name for name in first.split(",") if name in ("cushion_in", "cushion_mm"))


@pytest.mark.parametrize(
    ("body", "field", "told"),
    [
        ([], None, "object"),
        ({"colour": "red"}, "colour", "units, language"),
        ({"units": "in"}, "units", "object"),
        ({"units": {"length": "ell"}}, "units.length", "mm, in"),
        ({"units": {"speed": "mm"}}, "units.speed", "length"),
        ({"language": "tlh"}, "language", "en"),
    ],
)
def test_what_nobody_knows_is_refused_and_nothing_is_kept(
    sqlite_url: str, body: object, field: str | None, told: str
) -> None:
    with plant(sqlite_url) as here:
        vera = here.person("vera", "viewer")
        answer = vera("PUT", "/api/v1/me/preferences", body)
        assert (answer.status_code, answer.json().get("field")) == (422, field)
        assert told in answer.json()["detail"]
        assert vera("GET", "/api/v1/me").json()["units"] == {}


def test_a_language_is_ones_own_before_the_plants_and_the_browsers(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    upgrade(sqlite_url)
    with a_second_language(tmp_path, monkeypatch), house(sqlite_url) as here:
        who, asks = "viewer", {"Accept-Language": "de-DE, en;q=0.5"}
        assert '<html lang="en">' in here.send(who, "GET", "/access").text
        asked = here.send(who, "GET", "/access", headers=asks).text
        assert '<html lang="de">' in asked
        assert "Abmelden" in asked
        assert here.send(who, "PUT", "/api/v1/me/preferences", json={"language": "de"}).is_success
        assert "Abmelden" in here.send(who, "GET", "/access").text
        refused = here.send(who, "PUT", "/api/v1/me/preferences", json=[]).json()
        assert (refused["title"], refused["detail"], refused["code"]) == (
            "Ein Wert geht nicht", "es braucht ein Objekt mit units, language oder beidem", "invalid",
        )  # fmt: skip
        assert here.send(who, "PUT", "/api/v1/me/preferences", json={"language": "en"}).is_success
        assert "Abmelden" not in here.send(who, "GET", "/access", headers=asks).text


def test_a_language_of_the_plant_nobody_wrote_is_refused_at_the_start() -> None:
    with pytest.raises(UsageError, match="RINGTELL_LANGUAGE='tlh': there are en"):
        need_language("tlh")
