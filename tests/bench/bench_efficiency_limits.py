"""How often the 95 % limits of barometric efficiencies hold the truth, on simulated hourly levels.

Run: python tests/bench/bench_efficiency_limits.py [RUNS]. Air pressure has fronts of some days and a swing twice a day; the
water wanders (random walk), comes back (autoregressive), or both with rounding to 1 mm. The truth is 0.5 at once.
"""

from __future__ import annotations

import sys

import numpy as np
from scipy.signal import lfilter

from gwnet.constants import NORMAL_95
from gwnet.hydro.loggers.barometric import clark_efficiency, regression_efficiency
from gwnet.hydro.loggers.deconvolution import deconvolve_response

TRUTH = 0.5


def air_of(count, rng):
    """Return hourly air pressure in metres of water."""
    rate = lfilter([1], [1, -0.9], rng.normal(size=count) * 0.0012)
    return 10.2 + lfilter([1], [1, -0.985], rate) + 0.006 * np.cos(2 * np.pi * np.arange(count) / 12)


WATER = {
    "random walk": lambda count, rng: np.cumsum(rng.normal(size=count)) * 6e-4,
    "autoregressive": lambda count, rng: lfilter([1], [1, -0.98], rng.normal(size=count) * 0.002),
    "walk, 1 mm steps": lambda count, rng: np.cumsum(rng.normal(size=count)) * 6e-4,
}


def estimates(level, air, when):
    """Return value and half-width by each method, and the usual half-width of daily changes."""
    hour, six, day = (regression_efficiency(level, air, of_changes=True, over=over) for over in (1, 6, 24))
    levels, clark = regression_efficiency(level, air, of_changes=False), clark_efficiency(level, air)
    response = deconvolve_response(when, level, air, lags=24, tides=("M2", "O1"))
    change = air[24:] - air[:-24]
    left = level[24:] - level[:-24] + day.efficiency * change
    usual = NORMAL_95 * left.std() / (change.std() * np.sqrt(change.size))
    return {
        "clark": (clark.efficiency, clark.half_width),
        "changes 1 h": (hour.efficiency, hour.half_width),
        "changes 6 h": (six.efficiency, six.half_width),
        "changes 24 h": (day.efficiency, day.half_width),
        "levels": (levels.efficiency, levels.half_width),
        "response 0 h": (response.response[0], response.half_width[0]),
        "response 24 h": (response.response[-1], response.half_width[-1]),
        "changes 24 h, usual error": (day.efficiency, usual),
    }


def main(runs):
    """Print coverage by record, water and method."""
    for days in (30, 90, 365):
        count = 24 * days
        when = np.datetime64("2024-01-01", "us") + np.arange(count) * np.timedelta64(1, "h")
        for name, water in WATER.items():
            held, widths = {}, {}
            for seed in range(runs):
                rng = np.random.default_rng(seed)
                air = air_of(count, rng)
                level = 50.0 - TRUTH * air + water(count, rng)
                if "steps" in name:
                    level = np.round(level, 3)
                for method, (value, half_width) in estimates(level, air, when).items():
                    held.setdefault(method, []).append(abs(value - TRUTH) <= half_width)
                    widths.setdefault(method, []).append(half_width)
            for method, hits in held.items():
                share, width = 100 * np.mean(hits), float(np.median(widths[method]))
                print(f"{days:3d} d  {name:17s} {method:26s} {share:5.1f} % hold, half-width {width:.3f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
