"""Water formulas against published tables; the source stands beside each value.

CHAPRA: saturation values in a code file of unknown author, probably from a numerical-methods textbook.
EN 25814: the table of that standard in a ProMinent Dulcotest DO manual, p. 52. HACH: Hach DR/850 manual,
table 3, p. 16. AQVET: Fundamentals of Aquatic Veterinary Medicine, table 1.4, after Emerson et al. 1975.
FA16: a copy of the University of Florida IFAS sheet FA16, figure 3.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from idkey.care import water
from idkey.errors import IdkeyError

TEMPERATURE = st.floats(0, 40)

# -- oxygen ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("t", "mg_l", "digits"),
    [
        (0, 14.621, 3),  # CHAPRA
        (5, 12.8, 1),  # EN 25814
        (8, 11.843, 3),  # CHAPRA
        (10, 11.3, 1),  # EN 25814
        (15, 10.1, 1),  # EN 25814
        (16, 9.870, 3),  # CHAPRA
        (20, 9.09, 2),  # EN 25814
        (24, 8.418, 3),  # CHAPRA
        (25, 8.26, 2),  # EN 25814
        (28, 7.83, 2),  # EN 25814
        (30, 7.56, 2),  # EN 25814
        (32, 7.305, 3),  # CHAPRA
        (40, 6.413, 3),  # CHAPRA
    ],
)
def test_saturation_is_that_of_the_published_tables(t, mg_l, digits):
    assert round(water.oxygen_saturation(t), digits) == mg_l


@pytest.mark.parametrize(("t", "mg_l"), [(6, 12.5), (7, 12.2), (21, 8.91)])
def test_three_rows_of_en_25814_differ_by_their_rounding_alone(t, mg_l):
    # These three rows (of 31) do not round to the printed figure: 12.448, 12.139, 8.915.
    assert abs(water.oxygen_saturation(t) - mg_l) < 0.065


@pytest.mark.parametrize(("t", "mg_l"), [(20, 9.08), (25, 8.24), (30, 7.54)])
def test_another_equation_is_a_little_lower(t, mg_l):
    # C. E. Boyd, Global Seafood Alliance, table 1: another equation. Its running text has 8.30 at 30 degC,
    # against its own table.
    assert 0.005 < water.oxygen_saturation(t) - mg_l < 0.03
    assert abs(water.oxygen_saturation(30) - 8.30) > 0.5


@pytest.mark.parametrize(
    ("t", "mmhg", "mg_l"),
    [(0, 700, 13.5), (10, 650, 9.7), (20, 625, 7.5), (20, 650, 7.8), (23, 625, 7.1)],
)
def test_saturation_under_less_air(t, mmhg, mg_l):
    # HACH, in steps of 0.1 mg/L, called approximate by its maker.
    assert water.oxygen_saturation(t, pressure_atm=mmhg / 760) == pytest.approx(mg_l, abs=0.15)


def test_the_worked_example_of_standard_methods():
    # Standard Methods, 20 degC and 0.700 atm: 6.30. From memory.
    assert round(water.oxygen_saturation(20, pressure_atm=0.7), 2) == 6.30
    factor = water.oxygen_saturation(20, pressure_atm=0.7) / water.oxygen_saturation(20)
    # Its vapour pressure is a shorter formula, 0.1 % apart from ours, which is some 1e-5 here.
    assert factor / 0.7 == pytest.approx(0.99009, abs=2e-5)


@pytest.mark.parametrize(("altitude", "hpa"), [(0, 1013.25), (1000, 898.75), (2000, 794.95), (3000, 701.09)])
def test_pressure_of_the_standard_atmosphere(altitude, hpa):
    # ISO 2533 / U.S. Standard Atmosphere 1976, geopotential altitude. From memory.
    assert water.pressure_at_altitude(altitude) * 1013.25 == pytest.approx(hpa, abs=0.01)


@given(TEMPERATURE, TEMPERATURE, st.floats(0.5, 1.1), st.floats(0.5, 1.1))
def test_warm_water_and_thin_air_hold_less(t, u, p, q):
    if u - t > 1e-6:
        assert water.oxygen_saturation(u, pressure_atm=p) < water.oxygen_saturation(t, pressure_atm=p)
    if q - p > 1e-6:
        assert water.oxygen_saturation(t, pressure_atm=p) < water.oxygen_saturation(t, pressure_atm=q)


@given(TEMPERATURE, st.floats(-430, 5400), st.floats(-430, 5400))
def test_saturation_falls_with_altitude(t, low, high):
    if high - low > 1e-3:
        at = [water.oxygen_saturation(t, pressure_atm=water.pressure_at_altitude(h)) for h in (low, high)]
        assert at[0] > at[1]


@given(TEMPERATURE, st.floats(0.1, 40))
def test_salt_water_holds_less(t, salinity):
    assert water.oxygen_saturation(t, salinity=salinity) < water.oxygen_saturation(t)


# -- ammonia ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ph", "t", "share"),
    [
        (7.0, 28, 0.0069),  # AQVET, and so on
        (7.4, 28, 0.0173),
        (7.6, 20, 0.0155),
        (8.0, 10, 0.0182),
        (8.0, 20, 0.0381),
        (8.0, 24, 0.0502),  # FA16 too: 1.0 mg/L gives 0.0502
        (8.0, 30, 0.0743),
        (8.2, 20, 0.0590),
        (8.4, 26, 0.1326),
    ],
)
def test_the_share_that_is_unionised(ph, t, share):
    assert round(water.ammonia_fraction(ph, t), 4) == share
    assert round(water.unionised_ammonia(1.0, ph, t), 4) == share


def test_the_constant_with_the_slip_is_not_used():
    # The manual of an R package prints 2727.92 for 2729.92; at low shares that is 1.5 % too much.
    slip = 1 / (1 + 10 ** (0.09018 + 2727.92 / (28 + 273.15) - 7.0))
    assert slip / water.ammonia_fraction(7.0, 28) == pytest.approx(1.0153, abs=5e-4)
    assert round(slip, 4) != 0.0069


def test_the_column_that_is_too_high_is_not_met():
    # The 32 degC column of AQVET is 2 to 4 % high; it fits 32.7 degC. The formula is not bent to it.
    assert water.ammonia_fraction(8.0, 32) == pytest.approx(0.0842, abs=5e-5)
    assert 1.02 < 0.0877 / water.ammonia_fraction(8.0, 32) < 1.05
    assert water.ammonia_fraction(8.0, 32.7) == pytest.approx(0.0877, abs=5e-4)


def test_an_example_that_is_wrong_is_not_met():
    # A spreadsheet post gives 0.082 at pH 8.5 and 25 degC; by its own formula it is 0.152.
    assert water.ammonia_fraction(8.5, 25) == pytest.approx(0.152, abs=5e-4)


def test_pka_at_25_degrees():
    # Emerson et al. 1975: half is un-ionised where pH is pKa, 9.2464 at 25 degC.
    assert water.ammonia_fraction(9.2464, 25) == pytest.approx(0.5, abs=1e-4)


@given(st.floats(0, 14), st.floats(0, 14), st.floats(0, 50))
def test_the_share_lies_between_0_and_1_and_rises_with_ph(ph, other, t):
    share = water.ammonia_fraction(ph, t)
    assert 0 <= share <= 1
    if other - ph > 0.01:
        assert water.ammonia_fraction(other, t) > share


@given(st.floats(5, 9), st.floats(0, 49))
def test_the_share_rises_with_warmth(ph, t):
    assert water.ammonia_fraction(ph, t + 1) > water.ammonia_fraction(ph, t)


# -- hardness, volume, temperature -----------------------------------------------------------------------


@pytest.mark.parametrize(("ppm", "dgh"), [(54, 3.03), (268, 15.02)])
def test_hardness_degrees(ppm, dgh):
    # A hobby species page on L081 (FishyWiki), both units in its table.
    assert water.caco3_to_dgh(ppm) == pytest.approx(dgh, abs=0.006)


def test_hardness_in_ppm():
    # A hobby species page (PetWiki): 10 dGH is 178 ppm. FAO glossary: 50 mg/L CaCO3 is 2.805 dGH.
    assert water.dgh_to_caco3(10) == pytest.approx(178, abs=0.5)
    assert water.caco3_to_dgh(50) == pytest.approx(2.805, abs=0.005)


def test_the_calculator_page_is_wrong():
    # One calculator page has 1 dGH = 10 mg/L CaCO3, and 1 grain/gal = 17.848; 10 mg/L is the CaO.
    assert water.dgh_to_caco3(1) == pytest.approx(100.09 / 56.08 * 10, abs=1e-3)
    assert water.dgh_to_caco3(1) != pytest.approx(10, abs=5)


def test_hardness_from_calcium_and_magnesium():
    # A forum post: 72 mg/L Ca and 26 mg/L Mg are 286 mg/L CaCO3; 133 mg/L bicarbonate 109.
    assert water.general_hardness(72, 26) == pytest.approx(286, abs=1)
    assert water.caco3_to_dgh(water.general_hardness(72, 26)) == pytest.approx(16.1, abs=0.1)
    assert water.alkalinity_from_bicarbonate(133) == pytest.approx(109, abs=0.2)


def test_volume_and_turnover():
    # A shrimp page: 90 x 30 x 30 cm is 81 L. FishyWiki, L081: 240 L is 63.40 US gal.
    assert water.volume_l(90, 30, 30) == pytest.approx(81)
    assert round(water.us_gallons(240), 2) == 63.40
    assert water.turnover(486, 81) == pytest.approx(6)


def test_fahrenheit():
    # FishyWiki, L081, exact both.
    assert water.fahrenheit(27) == pytest.approx(80.60)
    assert water.fahrenheit(32) == pytest.approx(89.60)


@given(st.floats(-200, 500), st.floats(0, 60))
def test_there_and_back(t, dgh):
    assert water.celsius(water.fahrenheit(t)) == pytest.approx(t, abs=1e-9)
    assert water.caco3_to_dgh(water.dgh_to_caco3(dgh)) == pytest.approx(dgh)


# -- what can't be ---------------------------------------------------------------------------------------

NONSENSE = [
    (water.oxygen_saturation, 60, "temperature 60 °C", "0 to 40 °C"),
    (water.oxygen_saturation, -1, "temperature -1 °C", "0 to 40 °C"),
    (lambda x: water.oxygen_saturation(20, pressure_atm=x), 0.3, "air pressure 0.3 atm", "0.5 to 1.1 atm"),
    (lambda x: water.oxygen_saturation(20, salinity=x), 50, "salinity 50", "0 to 40"),
    (water.pressure_at_altitude, 12000, "altitude 12000 m", "-2000 to 11000 m"),
    (lambda x: water.ammonia_fraction(x, 20), 20, "pH 20", "0 to 14"),
    (lambda x: water.ammonia_fraction(7, x), 60, "temperature 60 °C", "0 to 50 °C"),
    (lambda x: water.unionised_ammonia(x, 7, 20), -1, "total ammonia nitrogen -1 mg/L", "0 to 1000 mg/L"),
    (water.dgh_to_caco3, -1, "hardness -1 °dGH", "0 to 1000 °dGH"),
    (lambda x: water.volume_l(x, 30, 30), -90, "length -90 cm", "0 to 5000 cm"),
    (water.us_gallons, -1, "volume -1 L", "0 L or more"),
    (lambda x: water.turnover(500, x), 0, "volume 0 L", "more than 0 L"),
    (water.fahrenheit, -300, "temperature -300 °C", "-273.15 °C or more"),
]


@pytest.mark.parametrize(("formula", "value", "found", "right"), NONSENSE)
def test_out_of_range_names_the_quantity_the_value_and_the_range(formula, value, found, right):
    with pytest.raises(water.WaterError) as caught:
        formula(value)
    message = str(caught.value)
    assert message.startswith(found)
    assert right in message
    assert "\n" not in message
    assert isinstance(caught.value, IdkeyError)


@pytest.mark.parametrize("value", [math.nan, math.inf, True, "20", None, [20, math.nan]])
@pytest.mark.parametrize("formula", {id(f): f for f, *_ in NONSENSE}.values())
def test_what_is_no_number_is_refused(formula, value):
    with pytest.raises(water.WaterError):
        formula(value)


def test_arrays_go_in_and_come_out():
    t = np.array([10.0, 20.0, 30.0])
    whole = water.oxygen_saturation(t)
    assert isinstance(whole, np.ndarray)
    assert whole.tolist() == [water.oxygen_saturation(float(x)) for x in t]
    assert np.shape(water.ammonia_fraction(np.array([[7.0], [8.0]]), t)) == (2, 3)
    assert isinstance(water.oxygen_saturation(20), float)
    with pytest.raises(water.WaterError, match="temperature 45 °C"):
        water.oxygen_saturation(np.array([20.0, 45.0]))
