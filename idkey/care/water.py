"""Formulas for water: oxygen and ammonia. Floats or arrays in, the same out.

What lies outside the range a formula holds for is an error that names the quantity, the value and the range.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from idkey.arguments import shown
from idkey.errors import IdkeyError

Figure: TypeAlias = "float | NDArray[np.float64]"

_KELVIN = 273.15


class WaterError(IdkeyError):
    """A quantity outside the range for which a formula holds."""


def oxygen_saturation(
    temperature_c: ArrayLike, *, pressure_atm: ArrayLike = 1.0, salinity: ArrayLike = 0.0
) -> Figure:
    """Return the oxygen in mg/L that water holds in balance with moist air, an array for an array.

    With T in kelvin, C in mg/L at 1 atm and S the salinity::

        ln C = -139.34411 + 1.575701e5/T - 6.642308e7/T^2 + 1.243800e10/T^3 - 8.621949e11/T^4
               - S (0.017674 - 10.754/T + 2140.7/T^2)
        C(P) = C P (1 - u/P) (1 - th P) / ((1 - u) (1 - th)),
        th = 0.000975 - 1.426e-5 t + 6.436e-8 t^2

    u is the pressure of water vapour in atm, in the form of Green and Carritt (1967). Benson and Krause 1984,
    Limnology and Oceanography 29:620-632; the pressure term is their equation 24.

    Water is 0 to 40 degC, air pressure P at the tank (not reduced to sea level) 0.5 to 1.1 atm, salinity 0 to
    40 parts per thousand, 0 for fresh water; else WaterError.
    """
    t = _within(temperature_c, "temperature", 0, 40, "°C")
    pressure = _within(pressure_atm, "air pressure", 0.5, 1.1, "atm")
    salt = _within(salinity, "salinity", 0, 40, "parts per thousand")
    kelvin = t + _KELVIN
    log_c = (
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.243800e10 / kelvin**3
        - 8.621949e11 / kelvin**4
        - salt * (0.017674 - 10.754 / kelvin + 2140.7 / kelvin**2)
    )
    u = _vapour_pressure(kelvin)
    theta = 0.000975 - 1.426e-5 * t + 6.436e-8 * t**2
    drop = pressure * (1 - u / pressure) * (1 - theta * pressure) / ((1 - u) * (1 - theta))
    return _out(np.exp(log_c) * drop)


def _vapour_pressure(kelvin: NDArray[np.float64]) -> NDArray[np.float64]:
    """Pressure of water vapour over fresh water in atm (Green and Carritt 1967, J. Mar. Res. 25:140-147)."""
    boiling = 373.16
    return np.exp(
        18.1973 * (1 - boiling / kelvin)
        + 3.1813e-7 * (1 - np.exp(26.1205 * (1 - kelvin / boiling)))
        - 1.8726e-2 * (1 - np.exp(8.03945 * (1 - boiling / kelvin)))
        + 5.02802 * np.log(boiling / kelvin)
    )


def pressure_at_altitude(altitude_m: ArrayLike) -> Figure:
    """Return the air pressure of the standard atmosphere in atm: (1 - 0.0065 h / 288.15)^5.25588.

    h is in metres above the sea, -2000 to 11000; else WaterError. Weather moves it by some 3 per cent either
    way. ISO 2533:1975, Standard Atmosphere, the layer below 11 km; h is the geopotential altitude, which
    differs from the height on a map by 2 m at 3000 m. Constants from memory.
    """
    h = _within(altitude_m, "altitude", -2000, 11000, "m")
    return _out((1 - 0.0065 * h / 288.15) ** 5.25588)


def ammonia_fraction(ph: ArrayLike, temperature_c: ArrayLike) -> Figure:
    """Return the share of total ammonia, 0 to 1, that is un-ionised, the form that harms fish.

    ``pKa = 0.09018 + 2729.92/T``, ``f = 1 / (1 + 10^(pKa - pH))``, T in kelvin; fresh water, pH 0 to 14 and
    0 to 50 degC, else WaterError. Emerson, Russo, Lund and Thurston 1975, Journal of the Fisheries Research
    Board of Canada 32:2379-2383. Some copies print 2727.92 for the second constant; that is a slip, and
    gives a share 1.5 % too high.
    """
    acid = _within(ph, "pH", 0, 14, "")
    kelvin = _within(temperature_c, "temperature", 0, 50, "°C") + _KELVIN
    return _out(1 / (1 + 10 ** (0.09018 + 2729.92 / kelvin - acid)))


def unionised_ammonia(tan_mg_l: ArrayLike, ph: ArrayLike, temperature_c: ArrayLike) -> Figure:
    """Return un-ionised ammonia in mg/L, as nitrogen: `ammonia_fraction` times total ammonia.

    Total ammonia nitrogen (NH3 and NH4+ together, as N) is in mg/L, 0 to 1000; else WaterError.
    """
    total = _within(tan_mg_l, "total ammonia nitrogen", 0, 1000, "mg/L")
    return _out(total * ammonia_fraction(ph, temperature_c))


def _within(value: ArrayLike, quantity: str, low: float, high: float, unit: str) -> NDArray[np.float64]:
    """Return the value as an array, or say what is wrong with it: quantity, value, range."""
    span = f"{low:g} to {high:g} {unit}".rstrip()
    try:
        given = np.asarray(value)
    except ValueError:
        given = np.asarray(None)
    if given.dtype.kind not in "iuf":
        raise WaterError(f"{quantity} {shown(value)}: give a number, {span}")
    figures = given.astype(np.float64)
    # A number that is not there (NaN) is in no range.
    wrong = ~((figures >= low) & (figures <= high))
    if np.any(wrong):
        found = f"{figures[wrong].flat[0]:g} {unit}".rstrip()
        raise WaterError(f"{quantity} {found}: the formula holds for {span}")
    return figures


def _out(figures: NDArray[np.float64]) -> Figure:
    return float(figures) if np.ndim(figures) == 0 else figures
