"""Units and a language of one's own: kept with the person, on their pages and in their files alone."""

import pytest

from tests.access.plant import plant


def test_units_are_ones_own_on_pages_and_in_files(sqlite_url: str) -> None:
    with plant(sqlite_url) as here:
        eda, root = here.person("eda", "plant_engineer"), here.person("root", "administrator")
        assert root("PUT", "/api/v1/presses/E07", {"screw_diameter_mm": 50.8}).is_success
        asked = {"units": {"length": "in", "pressure": "psi"}}
        assert eda("PUT", "/api/v1/me/preferences", asked).json()["units"] == asked["units"]
        assert eda("GET", "/api/v1/me").json()["units"] == asked["units"]
        page, others = (call("GET", "/presses/E07").text for call in (eda, root))
        assert 'value="2" data-factor="25.4"' in page
        assert "units=shown" in page
        assert 'value="50.8" data-factor="1.0"' in others
        assert "units=shown" not in others
        assert "screw_diameter_in" in eda("GET", "/api/v1/export/presses?units=shown").text.splitlines()[0]
        assert "screw_diameter_mm" in eda("GET", "/api/v1/export/presses").text.splitlines()[0]
        assert "screw_diameter_mm" in root("GET", "/api/v1/export/presses?units=shown").text.splitlines()[0]
        back = eda("PUT", "/api/v1/me/preferences", {"units": {"length": ""}}).json()
        assert back["units"] == {"pressure": "psi"}


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
