"""A tank as it was measured: what is read, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from care_tables import GOOD, WORM

from idkey.care.check import check_tank
from idkey.care.tank import Companion, Tank
from idkey.errors import IdkeyError


def test_volume_and_turnover_of_a_tank():
    tank = Tank.of(GOOD)
    assert tank.volume_l == pytest.approx(160)
    assert tank.full_volume_l == pytest.approx(180)
    assert tank.turnover == pytest.approx(6.25)


def test_text_reads_as_numbers_and_blank_as_not_measured():
    tank = Tank.of({"length_cm": " 100 ", "width_cm": "40", "height_cm": np.float64(45), "ph": " "})
    assert (tank.length_cm, tank.height_cm, tank.ph, tank.name) == (100.0, 45.0, None, "tank")
    mixed = Tank.of({**GOOD, "companions": [Companion("a"), {"name": "b", "count": 2}]})
    assert mixed.companions[1].count == 2


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"length_cm": -100}, "5 to 2000 cm"),
        ({"temperature_c": 60}, "0 to 40 °C"),
        ({"ph": 20}, "3 to 11"),
        ({"gh_dgh": 61}, "0 to 60 °dGH"),
        ({"fill_cm": 50}, "can't stand higher than the tank, 45 cm"),
        ({"altitude_m": 9000}, "-430 to 5400 m"),
        ({"width_cm": None}, "a turnover needs a volume: give the width"),
        ({"width_cm": None, "pump_l_h": None}, "width_cm: give the width"),
        ({"ph": math.nan}, "3 to 11"),
        ({"ph": math.inf}, "3 to 11"),
        ({"ph": True}, "give a number"),
        ({"ph": np.bool_(True)}, "give a number"),
        ({"ph": "6,500"}, "write 6500 or 6.500"),
        ({"ph": "1_0"}, "write the number alone"),
        ({"temperature_c": "28 K"}, "write the number alone in °C"),
        ({"temperature_c": "28 cm"}, "write it in °C"),
        ({"ph": [6]}, "give a number"),
        ({"name": 3}, "give the tank a name"),
        ({"substrate": 3}, "give a text"),
        ({"companions": 3}, "name:length in mm:count"),
        ({"companions": "a:b"}, "name:length in mm:count"),
        ({"companions": "a:30:2:5"}, "name:length in mm:count"),
        ({"companions": "a::0"}, "whole number"),
        ({"companions": [{"nam": "x"}]}, "a companion has name, length_mm and count"),
        ({"companions": ["x"]}, "give a tuple of Companion"),
        ({"lenght_cm": 3}, "did you mean 'length_cm'?"),
    ],
)
def test_what_cannot_be_is_one_clear_error(changes, said):
    with pytest.raises(IdkeyError) as caught:
        check_tank(WORM, {**GOOD, **changes})
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_all_that_is_wrong_is_said_at_once():
    with pytest.raises(IdkeyError) as caught:
        Tank.of({**GOOD, "length_cm": -1, "ph": 20, "temperature_c": "x"})
    for measure in ("length_cm", "ph", "temperature_c"):
        assert str(caught.value).count(f"{measure} ") == 1


def test_what_is_no_sheet_or_no_tank_is_refused():
    with pytest.raises(IdkeyError, match="no care sheet"):
        check_tank("worm", GOOD)
    with pytest.raises(IdkeyError, match="no tank"):
        check_tank(WORM, 3)
    with pytest.raises(IdkeyError, match="length_mm -3"):
        Companion("x", -3)
    with pytest.raises(IdkeyError, match="name"):
        Companion(" ")


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ({"temperature_c": "26,5", "ph": "6,8"}, {"temperature_c": 26.5, "ph": 6.8}),
        ({"temperature_c": "80.6 °F", "gh_dgh": "89.24 ppm"}, {"temperature_c": 27.0, "gh_dgh": 5.0}),
        ({"length_cm": "31 1/2 in", "width_cm": '12"'}, {"length_cm": 80.01, "width_cm": 30.48}),
        ({"length_cm": "800 mm", "altitude_m": "-3"}, {"length_cm": 80.0, "altitude_m": -3.0}),
    ],
)
def test_a_measure_is_read_as_people_write_it(written, read):
    tank = Tank.of({"length_cm": 80, "width_cm": 35, "height_cm": 40, **written})
    assert {measure: getattr(tank, measure) for measure in read} == pytest.approx(read)
