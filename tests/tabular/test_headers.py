"""Names of columns as fields and units."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.contract import SHOT_NUMBERS
from server.tabular.headers import FIELDS, guess_column, guess_columns, header_key
from server.tabular.units import conversion, hinted, unit_named


@pytest.mark.parametrize(
    ("name", "field", "unit"),
    [
        ("cushion_mm", "cushion_mm", ""),
        ("Massepolster [mm]", "cushion_mm", "mm"),
        ("Cushion (in)", "cushion_mm", "in"),
        ("Cushion volume cm³", "cushion_cm3", "cm3"),
        ("Cushion [cm3]", "cushion_cm3", "cm3"),
        ("Dosierweg mm", "shot_size_mm", "mm"),
        ("ShotSize", "shot_size_mm", ""),
        ("Max. injection pressure (psi)", "peak_pressure_bar", "psi"),
        ("Nachdruckzeit [s]", "hold_time_s", "s"),
        ("Fill time [ms]", "fill_time_s", "ms"),
        ("Öltemperatur °C", "oil_temp_c", "degC"),
        ("Zylinder Zone 3 [°C]", "zone_temps_c.3", "degC"),
        ("Cycle", "counter", ""),
        ("Cycle time", "cycle_time_s", ""),
        ("Zykluszähler", "counter", ""),
        ("Screw speed [1/min]", "screw_speed_rpm", "rpm"),
        ("V/P position", "transfer_position_mm", ""),
        ("ActStrCsh[1]", "cushion_mm", ""),
        ("ActTmpBrlZn[1,4]", "zone_temps_c.4", ""),
        ("ActStrCsh[2]", "", ""),
        ("Cushion [bar]", "", ""),
        ("Clamp force [kN]", "", ""),
        ("Remark", "", ""),
        ("Mold open time [s]", "", ""),
        ("Mold temperature [°C]", "", ""),
    ],
)
def test_a_name_is_taken_for_its_field_and_unit(name: str, field: str, unit: str) -> None:
    guess = guess_column(name)
    assert (guess.field, guess.unit) == (field, unit)


def test_each_field_is_given_once_and_to_the_name_that_fits_best() -> None:
    guesses = guess_columns(["Melt cushion monitoring", "Cushion", "Date", "Time", "Start time"])
    assert [one.field for one in guesses] == ["", "cushion_mm", "at", "at", ""]


def test_an_injected_volume_is_marked_as_one() -> None:
    assert guess_column("Einspritzvolumen [cm³]").injected
    assert guess_column("Injected volume").injected
    assert not guess_column("Dosiervolumen [cm³]").injected


def test_the_key_of_a_header_leaves_order_and_case_aside() -> None:
    assert header_key(["Cushion [mm]", "Cycle"]) == header_key(["cycle", "CUSHION (mm)", ""])


def test_every_number_of_a_shot_has_units_it_may_come_in() -> None:
    for field in SHOT_NUMBERS:
        stored = ("mm", "cm3", "bar", "s", "degC", "g", "rpm", "%", "mm/s")
        assert [conversion(field, unit) for unit in stored if conversion(field, unit)] == [(1.0, 0.0)]


@given(st.text(max_size=60))
def test_any_name_is_a_field_or_nothing(name: str) -> None:
    guess = guess_column(name)
    assert guess.field == "" or guess.field in FIELDS or guess.field.startswith("zone_temps_c.")
    hinted(name)
    unit_named(name)


@given(st.lists(st.text(max_size=20), max_size=12))
def test_no_field_but_the_time_is_given_twice(names: list[str]) -> None:
    fields = [one.field for one in guess_columns(names) if one.field and one.field != "at"]
    assert len(fields) == len(set(fields))
