"""True heads of the invented valley: plane, recharge, pumping, river, decline.

Everything is invented. Places are given in a frame of the valley: ``s`` metres downstream along the river and ``d``
metres uphill from it. Heads and stages are elevations above the site's own datum, positive upward [m]; times are
days since `EPOCH`, in UTC.
"""

from __future__ import annotations

import datetime as dt
import math
import random
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np

SEED = "orleva 2018"
ZONE = ZoneInfo("Europe/Berlin")
EPOCH = dt.datetime(2010, 1, 1, tzinfo=dt.UTC)
LAST_MONTH = (2026, 3)

# Frame of the valley in the site's grid: the river flows towards azimuth 70 degrees, uphill is azimuth 340 degrees.
ORIGIN_EASTING, ORIGIN_NORTHING = 371_200.0, 6_050_400.0
RIVER_AZIMUTH = math.radians(70.0)
UPHILL_AZIMUTH = math.radians(340.0)

# Planes of the two aquifers without season, pumping and decline: elevation at s = d = 0, slope along s, slope along d.
UPPER_PLANE = (51.70, -0.0007, 0.0036)
LOWER_PLANE = (53.05, -0.0006, 0.0016)
RIVER_PLANE = (51.70, -0.0007)
GROUND_PLANE = (52.15, -0.0007, 0.0085)

TRANSMISSIVITY_M2_S = 0.010
STORATIVITY = 0.12
SUPPLY_RADIUS_M = 0.30
WELL_LOSS_S2_M5 = 1200.0
LEAKAGE_SHARE = 0.12  # of the upper aquifer's drawdown that the lower one shows

DECLINE_CENTRE = (1500.0, 1300.0)
DECLINE_M_PER_YEAR = 0.12
DECLINE_REACH_M = 450.0
DECLINE_START = dt.datetime(2018, 1, 1, tzinfo=dt.UTC)

RAIN_MM = (55, 48, 52, 45, 62, 72, 80, 74, 58, 56, 58, 62)
EVAPORATION_MM = (8, 15, 34, 60, 90, 104, 110, 94, 60, 32, 14, 8)
YEAR_FACTOR = {2018: 0.84, 2019: 0.92, 2020: 0.98, 2021: 1.18, 2022: 0.80, 2023: 1.10, 2024: 1.12, 2025: 0.84}
MONTH_FACTOR = {(2021, 1): 1.9, (2025, 10): 0.5, (2025, 11): 0.45, (2025, 12): 0.4, (2026, 1): 0.45, (2026, 2): 1.4}
ABSTRACTION_L_S = (18.0, 17.5, 18.5, 20.0, 22.0, 24.5, 26.0, 25.0, 22.0, 20.0, 18.5, 18.0)
ABSTRACTION_YEAR = {2018: 1.08, 2019: 1.03, 2021: 0.94, 2022: 1.12, 2024: 0.94, 2025: 1.12}
ABSTRACTION_MONTH = {(2025, 12): 1.30, (2026, 1): 1.36, (2026, 2): 1.38, (2026, 3): 1.34}
FLOODS = (("2021-02-15", 0.95, 5.0), ("2024-01-05", 0.80, 6.0), ("2026-02-09", 1.10, 9.0))


def days(moment: dt.datetime) -> float:
    """Return a moment as days since `EPOCH`."""
    return (moment - EPOCH).total_seconds() / 86400.0


def grid(s: float, d: float) -> tuple[float, float]:
    """Return easting and northing of a place of the valley, to a centimetre."""
    east = ORIGIN_EASTING + s * math.sin(RIVER_AZIMUTH) + d * math.sin(UPHILL_AZIMUTH)
    north = ORIGIN_NORTHING + s * math.cos(RIVER_AZIMUTH) + d * math.cos(UPHILL_AZIMUTH)
    return round(east, 2), round(north, 2)


def valley(easting: float, northing: float) -> tuple[float, float]:
    """Return the place of the valley at easting and northing."""
    east, north = easting - ORIGIN_EASTING, northing - ORIGIN_NORTHING
    s = east * math.sin(RIVER_AZIMUTH) + north * math.cos(RIVER_AZIMUTH)
    return s, east * math.sin(UPHILL_AZIMUTH) + north * math.cos(UPHILL_AZIMUTH)


def normal(*key: object) -> float:
    """Return a standard normal number that depends on its key alone."""
    source = random.Random(" / ".join(str(part) for part in (SEED, *key)))
    radius = math.sqrt(-2.0 * math.log(1.0 - source.random()))
    return radius * math.cos(2.0 * math.pi * source.random())


def whole(lowest: int, highest: int, *key: object) -> int:
    """Return a whole number from lowest to highest that depends on its key alone."""
    source = random.Random(" / ".join(str(part) for part in (SEED, *key)))
    return lowest + int(source.random() * (highest - lowest + 1))


def months(first: tuple[int, int], last: tuple[int, int] = LAST_MONTH) -> list[tuple[int, int]]:
    """Return every month from first to last."""
    start, end = first[0] * 12 + first[1] - 1, last[0] * 12 + last[1] - 1
    return [(number // 12, number % 12 + 1) for number in range(start, end + 1)]


def month_start(year: int, month: int) -> dt.datetime:
    """Return the first moment of a month, in the site's zone."""
    return dt.datetime(year, month, 1, tzinfo=ZONE)


def next_month(year: int, month: int) -> tuple[int, int]:
    """Return the month after."""
    return (year + 1, 1) if month == 12 else (year, month + 1)


def rainfall_mm(year: int, month: int) -> float:
    """Return the rainfall of a month, to a tenth of a millimetre."""
    spread = math.exp(0.30 * normal("rain", year, month) - 0.045)
    factor = MONTH_FACTOR.get((year, month), YEAR_FACTOR.get(year, 1.0))
    return round(RAIN_MM[month - 1] * factor * spread, 1)


def abstraction_m3(year: int, month: int) -> int:
    """Return the volume pumped in a month, to ten cubic metres."""
    length = month_start(*next_month(year, month)) - month_start(year, month)
    factor = ABSTRACTION_MONTH.get((year, month), ABSTRACTION_YEAR.get(year, 1.0))
    rate = ABSTRACTION_L_S[month - 1] * factor * (1.0 + 0.03 * normal("pumped", year, month))
    return round(rate * 0.001 * length.total_seconds() / 10.0) * 10


def well_function(u: np.ndarray) -> np.ndarray:
    """Return the exponential integral E1 by the polynomials 5.1.53 and 5.1.56 of Abramowitz and Stegun."""
    small = np.minimum(u, 1.0)
    low = -0.57721566 + small * (
        0.99999193 + small * (-0.24991055 + small * (0.05519968 + small * (-0.00976004 + small * 0.00107857)))
    )
    large = np.clip(u, 1.0, 600.0)
    above = 0.2677737343 + large * (8.6347608925 + large * (18.0590169730 + large * (8.5733287401 + large)))
    below = 3.9584969228 + large * (21.0996530827 + large * (25.6329561486 + large * (9.5733223454 + large)))
    made: np.ndarray = np.where(u <= 1.0, low - np.log(small), np.exp(-large) / large * above / below)
    return made


@dataclass(frozen=True)
class Pump:
    """The supply well and when it ran: rates from each moment on [m3/s]."""

    s: float
    d: float
    moments: list[float]
    rates: list[float]

    def rate(self, t: float) -> float:
        """Return the rate at a moment [m3/s]."""
        place = bisect_right(self.moments, t) - 1
        return self.rates[place] if place >= 0 else 0.0

    def drawdown(self, s: float, d: float, t: float) -> float:
        """Return the drawdown in the upper aquifer, the river being a line of fixed head [m].

        Theis with an image well that injects on the river's other side, summed over all changes of rate.
        """
        near = max(math.hypot(s - self.s, d - self.d), SUPPLY_RADIUS_M)
        far = math.hypot(s - self.s, d + self.d)
        count = bisect_right(self.moments, t - 1e-6)
        elapsed = (t - np.array(self.moments[:count])) * 86400.0
        change = np.diff(np.array([0.0, *self.rates[:count]]))
        scale = STORATIVITY / (4.0 * TRANSMISSIVITY_M2_S * elapsed)
        response = well_function(near**2 * scale) - well_function(far**2 * scale)
        return float(np.sum(change * response)) / (4.0 * math.pi * TRANSMISSIVITY_M2_S)


def pump(s: float, d: float, off: list[tuple[float, float]]) -> Pump:
    """Return the supply well with monthly rates, stopped in the spans of `off`."""
    edges: dict[float, float] = {}
    for year, month in months((2014, 1)):
        start, end = days(month_start(year, month)), days(month_start(*next_month(year, month)))
        stopped = sum(max(0.0, min(end, b) - max(start, a)) for a, b in off)
        edges[start] = abstraction_m3(year, month) / ((end - start - stopped) * 86400.0)
    starts = sorted(edges)
    for a, b in off:
        running = edges[starts[bisect_right(starts, b) - 1]]
        edges.update({moment: 0.0 for moment in starts if a <= moment < b})
        edges[a], edges[b] = 0.0, running
    moments = sorted(edges)
    return Pump(s, d, moments, [edges[moment] for moment in moments])


class Weather:
    """Day by day: recharge of both aquifers and the part of the river's stage that follows the rain."""

    def __init__(self) -> None:
        self.first = days(dt.datetime(2012, 1, 1, tzinfo=dt.UTC))
        upper, lower, river = [], [], []
        soil, seep, water, deep, quick = 60.0, 0.5, 0.0, 0.0, 0.0
        for year, month in months((2012, 1)):
            span = (month_start(*next_month(year, month)) - month_start(year, month)).days
            rain, loss = rainfall_mm(year, month) / span, EVAPORATION_MM[month - 1] / span
            for _ in range(span):
                soil += rain - loss * min(1.0, max(soil, 0.0) / 60.0)
                surplus = max(0.0, soil - 80.0)
                soil -= surplus
                seep += (surplus - seep) / 20.0
                water += seep - water / 130.0
                deep += (water - deep) / 75.0
                quick += (surplus + 0.15 * rain - quick) / 12.0
                upper.append(water)
                lower.append(deep)
                river.append(quick)
        begin = round(days(DECLINE_START) - self.first)
        self.upper = self._anomaly(upper, begin)
        self.lower = self._anomaly(lower, begin)
        self.river = self._anomaly(river, begin)

    @staticmethod
    def _anomaly(values: list[float], begin: int) -> list[float]:
        """Return values less their mean since the record began, in units of their standard deviation."""
        record = values[begin:]
        mean = math.fsum(record) / len(record)
        spread = math.sqrt(math.fsum((value - mean) ** 2 for value in record) / len(record))
        return [(value - mean) / spread for value in values]

    def at(self, series: list[float], t: float) -> float:
        """Return a series at a moment, linear between days."""
        place = min(max(t - self.first, 0.0), len(series) - 1.001)
        low = int(place)
        return series[low] + (place - low) * (series[low + 1] - series[low])


class Valley:
    """The valley's truth: heads of both aquifers and the river's stage at any place and moment."""

    def __init__(self, supply: Pump) -> None:
        self.supply = supply
        self.weather = Weather()
        self.floods = [
            (days(dt.datetime.fromisoformat(day).replace(tzinfo=ZONE)), top, decay) for day, top, decay in FLOODS
        ]

    def stage_anomaly(self, t: float) -> float:
        """Return how far the river stands above its mean [m]."""
        stage = 0.11 * max(self.weather.at(self.weather.river, t), -1.4)
        for peak, top, decay in self.floods:
            stage += top * (math.exp(-(t - peak) / decay) if t >= peak else math.exp((t - peak) / 1.5))
        return stage

    def stage(self, s: float, t: float) -> float:
        """Return the river's stage [m]."""
        level, slope = RIVER_PLANE
        return level + slope * s + self.stage_anomaly(t)

    def decline(self, s: float, d: float) -> float:
        """Return the slow decline at a place, positive for falling [m/year]."""
        distance = math.hypot(s - DECLINE_CENTRE[0], d - DECLINE_CENTRE[1])
        return DECLINE_M_PER_YEAR * math.exp(-distance / DECLINE_REACH_M)

    def head(self, aquifer: str, s: float, d: float, t: float) -> float:
        """Return the head in an aquifer [m]."""
        years = max(t - days(DECLINE_START), 0.0) / 365.25
        falling = self.decline(s, d) * years
        if aquifer == "upper":
            level, along, uphill = UPPER_PLANE
            season = 0.36 * (1.0 - math.exp(-(d + 25.0) / 330.0)) * self.weather.at(self.weather.upper, t)
            relief = 0.06 * math.sin(s / 230.0 + 0.7) * math.sin(d / 260.0)
            bank = math.exp(-d / 170.0) * self.stage_anomaly(t - d / 60.0)
            drawn = self.supply.drawdown(s, d, t)
        else:
            level, along, uphill = LOWER_PLANE
            season = 0.20 * (1.0 - 0.6 * math.exp(-d / 500.0)) * self.weather.at(self.weather.lower, t)
            relief = 0.03 * math.sin(s / 300.0 + 2.0) * math.cos(d / 350.0)
            bank = 0.25 * math.exp(-d / 250.0) * self.stage_anomaly(t - 1.0)
            drawn = LEAKAGE_SHARE * self.supply.drawdown(s, d, t - 20.0)
        return level + along * s + uphill * d + season + relief + bank - drawn - falling


def ground(s: float, d: float, *key: object) -> float:
    """Return the ground's elevation, to a millimetre [m]."""
    level, along, uphill = GROUND_PLANE
    return round(level + along * s + uphill * d + 0.12 * math.tanh(d / 200.0) * normal("ground", *key), 3)


def interpolate(x: float, at: list[float], values: list[float]) -> float:
    """Return a piecewise linear function, constant beyond its ends."""
    if x <= at[0]:
        return values[0]
    for (left, right), (low, high) in zip(pairwise(at), pairwise(values), strict=True):
        if x <= right:
            return low + (x - left) / (right - left) * (high - low)
    return values[-1]
