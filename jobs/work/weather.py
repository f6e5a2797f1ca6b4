"""Moist air on the day of the work: the dew point, how close the air is to it, and how dry wood can
get in it.

Dew point: Magnus formula with the constants of WMO-No. 8, Guide to Instruments and Methods of
Observation (over water). Moisture of wood: the Hailwood-Horrobin equation of the Wood Handbook,
FPL-GTR-190, eq. 4-5.
"""

from decimal import Decimal
from math import log

from clients import display
from clients.notation import Units

MAGNUS_A = 17.62
MAGNUS_B_C = 243.12
# painters keep the surface 3 °C above the dew point (common practice, no source)
MIN_DEW_POINT_DEPRESSION_C = 3.0


def dew_point_c(air_c: float, humidity_percent: float) -> float:
    """The temperature at which dew falls; relative humidity above 0 to 100 %."""
    if not 0 < humidity_percent <= 100:
        raise ValueError("humidity must be above 0 and at most 100 per cent")
    gamma = log(humidity_percent / 100) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
    return MAGNUS_B_C * gamma / (MAGNUS_A - gamma)


def dew_point_depression_c(
    air_c: Decimal | float | None, humidity_percent: int | None
) -> float | None:
    """Degrees between the air and the dew point; None where either was not measured."""
    if air_c is None or not humidity_percent:
        return None
    return float(air_c) - dew_point_c(float(air_c), humidity_percent)


def equilibrium_moisture_percent(air_c: float, humidity_percent: float) -> float:
    """The moisture wood comes to rest at in air like this for long, in per cent of its dry
    weight."""
    if not 0 <= humidity_percent <= 100:
        raise ValueError("humidity must be from 0 to 100 per cent")
    h = humidity_percent / 100
    w = 349 + 1.29 * air_c + 0.0135 * air_c**2
    k = 0.805 + 0.000736 * air_c - 0.00000273 * air_c**2
    k1 = 6.27 - 0.00938 * air_c - 0.000303 * air_c**2
    k2 = 1.91 + 0.0407 * air_c - 0.000293 * air_c**2
    dissolved = k * h / (1 - k * h)
    bound = (k1 * k * h + 2 * k1 * k2 * k**2 * h**2) / (1 + k1 * k * h + k1 * k2 * k**2 * h**2)
    return 1800 / w * (dissolved + bound)


def temperature_difference(gap_c: float) -> str:
    """A difference of temperatures: 5 °C are 9 °F, whatever the zero."""
    is_us = display.current_business().units == Units.US
    return f"{display.format_number(gap_c * 9 / 5 if is_us else gap_c)} {'°F' if is_us else '°C'}"
