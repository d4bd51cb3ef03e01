"""How often ``gwnet trend`` tells a trend where there is none, and where there is one, in noise that is correlated.

Run: ``python tests/bench/bench_trend_alarms.py [WELLS [YEARS ...]]`` (default 500 wells; 6 10 15 20 30 40 years). Prints
shares of wells with p at most 5 %: with the p of the trends frame, with that of independent values, and with Hamed and
Rao's (all values). Noise is autoregressive of order 1, quarterly, with a
standard deviation of 1 m; its correlation is given from one year to the next. The trend is 3 m over the record, whatever
its length. Shares are uncertain by about 1/√WELLS. The last lines pool ten wells that share half of their noise.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
from scipy.special import ndtr

from gwnet.analysis.series.trend_pooled import pooled_trends
from gwnet.analysis.series.trends import trends

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
            "day": pd.to_datetime(np.tile(days, wells)),
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


def single_wells(random: np.random.Generator, wells: int, years: list[int]) -> None:
    """Print the shares of wells tested one by one."""
    print("method    years  correlation  slope [m/year]  p at most 5 %  independent")
    for count in years:
        for correlation in (0.0, 0.25, 0.5):
            plain = noise(random, wells, count, correlation)
            for slope in (0.0, 3.0 / count):
                values = plain + slope * np.arange(4 * count) / 4.0
                levels = as_levels(values)
                asked = levels[["site", "well"]].drop_duplicates()
                for method in ("kendall", "seasonal", "all"):
                    found = trends(levels, asked, method=method)
                    share = (found["p"] <= 0.05).mean()
                    independent = (2.0 * ndtr(-found["z"].abs()) <= 0.05).mean()
                    print(
                        f"{method:9} {count:5}  {correlation:11.2f}  {slope:14.2f}  {share:13.1%}  {independent:11.1%}",
                        flush=True,
                    )


def pooled_wells(random: np.random.Generator, aquifers: int, years: list[int]) -> None:
    """Print the shares of aquifers whose wells are pooled, and of those whose wells are said to differ."""
    print("pooled: years  correlation  slope [m/year]  p at most 5 %  wells differ at 5 %  seasons differ at 5 %")
    for count in years:
        for correlation in (0.0, 0.5):
            for slope in (0.0, 3.0 / count):
                shared = np.repeat(noise(random, aquifers, count, correlation), 10, axis=0)
                own = noise(random, 10 * aquifers, count, correlation)
                values = np.sqrt(0.5) * (shared + own) + slope * np.arange(4 * count) / 4.0
                levels = as_levels(values)
                asked = levels[["site", "well"]].drop_duplicates()
                asked["aquifer"] = [f"A{k // 10}" for k in range(10 * aquifers)]
                found = pooled_trends(levels, asked)
                shares = [(found[name] <= 0.05).mean() for name in ("p", "p_wells_differ", "p_seasons_differ")]
                print(
                    f"        {count:5}  {correlation:11.2f}  {slope:14.2f}  {shares[0]:13.1%}  {shares[1]:19.1%}  "
                    f"{shares[2]:21.1%}",
                    flush=True,
                )


def main(wells: int, years: list[int]) -> None:
    """Print all shares."""
    random = np.random.default_rng(20)
    single_wells(random, wells, years)
    pooled_wells(random, max(wells // 5, 1), years[:3])


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    main(numbers[0] if numbers else 500, numbers[1:] or [6, 10, 15, 20, 30, 40])
