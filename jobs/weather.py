"""Moist air on the day of the work: the dew point, and how close the air was to it.

Magnus formula with the constants of WMO-No. 8, Guide to Instruments and Methods of Observation (over water).
"""

from decimal import Decimal
from math import log

MAGNUS_A = 17.62
MAGNUS_B_C = 243.12
LEAST_GAP_C = 3.0  # painters keep the surface 3 °C above the dew point (common practice, no source)


def dew_point_c(air_c: float, humidity_percent: float) -> float:
    """The temperature at which dew falls; relative humidity above 0 to 100 %."""
    if not 0 < humidity_percent <= 100:
        raise ValueError("humidity must be above 0 and at most 100 per cent")
    gamma = log(humidity_percent / 100) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
    return MAGNUS_B_C * gamma / (MAGNUS_A - gamma)


def dew_gap_c(air_c: Decimal | float | None, humidity_percent: int | None) -> float | None:
    """Degrees between the air and the dew point; None where either was not measured."""
    if air_c is None or not humidity_percent:
        return None
    return float(air_c) - dew_point_c(float(air_c), humidity_percent)
