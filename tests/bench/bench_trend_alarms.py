"""How often ``gwnet trend`` tells a trend where there is none, and where there is one, in noise that goes together.

Run: ``python tests/bench/bench_trend_alarms.py [WELLS]`` (default 500). Prints shares of wells with p at most 5 %, with
the p of the trends frame and with that of independent values. Noise is autoregressive of order 1 with a standard
deviation of 1 m; its correlation is given from one year to the next. Shares are uncertain by about 1/√WELLS.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
from scipy.special import ndtr

from gwnet.analysis.trends import trends

DAYS = ("02-15", "05-15", "08-15", "11-15")


def noise(random: np.random.Generator, wells: int, years: int, correlation: float) -> np.ndarray:
    """Return quarterly noise, a row for each well, whose correlation from year to year is given."""
    step = correlation**0.25
    made = np.empty((wells, 4 * years))
    made[:, 0] = random.normal(0.0, 1.0, wells)
    for k in range(1, made.shape[1]):
        made[:, k] = step * made[:, k - 1] + np.sqrt(1.0 - step * step) * random.normal(0.0, 1.0, wells)
    return made


def as_levels(values: np.ndarray) -> pd.DataFrame:
    """Return values as usable levels, four a year from 1990 on."""
    wells, count = values.shape
    days = [f"{1990 + k // 4}-{DAYS[k % 4]}" for k in range(count)]
    return pd.DataFrame(
        {
            "site": "S",
            "well": np.repeat([f"W{k}" for k in range(wells)], count),
            "measured_at": np.tile(days, wells),
            "status": "static",
            "bound": "",
            "water_elevation_m": 40.0 + values.ravel(),
            "usable": True,
            "unusable_reason": "",
            "quality": "good",
            "review": "approved",
            "finding": "",
        }
    )


def main(wells: int) -> None:
    """Print the shares for both methods, short and long records, and three correlations."""
    random = np.random.default_rng(20)
    print("method    years  correlation  slope [m/year]  p at most 5 %  of independent values")
    for years in (9, 30):
        for correlation in (0.0, 0.4, 0.7):
            plain = noise(random, wells, years, correlation)
            for slope in (0.0, 3.0 / years):
                levels = as_levels(plain + slope * np.arange(4 * years) / 4.0)
                for method in ("kendall", "seasonal"):
                    found = trends(levels, levels[["site", "well"]].drop_duplicates(), method=method)
                    share = (found["p"] <= 0.05).mean()
                    independent = (2.0 * ndtr(-found["z"].abs()) <= 0.05).mean()
                    print(
                        f"{method:9} {years:5}  {correlation:11.1f}  {slope:14.2f}  {share:13.1%}  {independent:21.1%}"
                    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
