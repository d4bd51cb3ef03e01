"""Air over the valley and water in its wells, hour by hour: pressure and temperature.

Times are whole hours since `physics.EPOCH`, in UTC; pressures are absolute [hPa], temperatures [degC].
"""

from __future__ import annotations

import math
import random
from functools import cached_property

import numpy as np

from making.physics import SEED

#: Mean air pressure at the barometer [hPa].
MEAN_HPA = 1009.0
#: Knots of the air pressure: hours from one to the next, and spread of its share [hPa].
_KNOTS = ((60, 8.5), (18, 2.2), (5, 0.55))
#: Daily and half-daily swing of the air pressure [hPa], and the UTC hour of their crest.
_SWINGS = ((24.0, 0.25, 6.0), (12.0, 0.45, 9.5))
#: Spread of what changes from hour to hour [hPa].
_HOURLY_HPA = 0.10

#: Latitude and height of the site [degrees, m] and the gravity there by Somigliana's formula with free air [m/s2].
LATITUDE_DEG, HEIGHT_M = 54.6, 60.0


def gravity() -> float:
    """Return the normal gravity at the site [m/s2]."""
    sine = math.sin(math.radians(LATITUDE_DEG)) ** 2
    sea = 9.7803253359 * (1 + 0.00193185265241 * sine) / math.sqrt(1 - 0.00669437999013 * sine)
    return sea - 3.086e-6 * HEIGHT_M


def density(temperature: np.ndarray) -> np.ndarray:
    """Return the density of pure water (Tanaka et al., 2001) [kg/m3]."""
    t = temperature
    made: np.ndarray = 999.97495 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    return made


def normals(count: int, *key: object) -> np.ndarray:
    """Return standard normal numbers that depend on their key alone, always the same first ones."""
    source = random.Random(" / ".join(str(part) for part in (SEED, *key)))
    made = np.empty(count)
    for place in range(count):
        radius = math.sqrt(-2.0 * math.log(1.0 - source.random()))
        made[place] = radius * math.cos(2.0 * math.pi * source.random())
    return made


def _smooth(hours: np.ndarray, values: np.ndarray, apart: int) -> np.ndarray:
    """Return a curve through knots that stand evenly apart, with a steady slope (Catmull-Rom)."""
    place = hours / apart
    low = np.floor(place).astype(int)
    u = place - low
    before, first, second, after = (values[low + step] for step in (0, 1, 2, 3))
    made: np.ndarray = first + 0.5 * u * (
        second
        - before
        + u * (2 * before - 5 * first + 4 * second - after + u * (3 * (first - second) + after - before))
    )
    return made


class Air:
    """The air over the valley from one whole hour to another."""

    def __init__(self, first: int, last: int) -> None:
        self.first, self.last = first, last

    @cached_property
    def _pressure(self) -> np.ndarray:
        hours = np.arange(self.last - self.first + 1, dtype=float)
        made = np.full(hours.shape, MEAN_HPA)
        for apart, spread in _KNOTS:
            knots = normals(int(hours[-1] / apart) + 5, "air", apart)
            made += spread * _smooth(hours, knots, apart)
        for period, size, crest in _SWINGS:
            made += size * np.cos(2 * math.pi * (hours + self.first - crest) / period)
        return made + _HOURLY_HPA * normals(hours.size, "air", "hourly")

    def pressure(self, hours: np.ndarray) -> np.ndarray:
        """Return the air pressure at moments, linear between whole hours [hPa]."""
        known = np.arange(self.first, self.last + 1, dtype=float)
        made: np.ndarray = np.interp(hours, known, self._pressure)
        return made


def air_temperature(hours: np.ndarray) -> np.ndarray:
    """Return the temperature in the well house, where the barometer hangs [degC]."""
    years = hours / 8766.0
    day = 1.6 * np.cos(2 * math.pi * (hours - 14.5) / 24.0)
    made: np.ndarray = 11.0 - 7.0 * np.cos(2 * math.pi * (years - 0.06)) + day
    return made


def water_temperature(hours: np.ndarray, depth_m: float) -> np.ndarray:
    """Return the temperature of the water at a depth below ground: the year, damped and late [degC]."""
    years = hours / 8766.0
    damped = math.exp(-depth_m / 2.6)
    late = depth_m / 2.6 / (2 * math.pi)
    made: np.ndarray = 9.8 - 8.0 * damped * np.cos(2 * math.pi * (years - 0.06 - late))
    return made
