"""A gathered pumping test made of frames alone, without a record."""

import math

import numpy as np
import pandas as pd

from gwnet.analysis.pumping.air import WellAir
from gwnet.analysis.pumping.gather import LEVEL_COLUMNS, GatheredTest

START = pd.Timestamp("2024-05-01T06:00Z")


def at(minute):
    """Return a moment by its minutes since the start."""
    return START + pd.Timedelta(minutes=minute)


#: What was done about air pressure: three levels corrected and two not.
AIR = WellAir("O1", "V", "B", 0.5, -0.0421, 3, (at(90), at(95)), ("level of another barometer instead",), "UTC+01:00")

#: The pumped well, and two beside it: what `gather_test` says of them.
WELLS = {
    "well": ["PW", "O1", "O2"], "distance_m": [0.0, 30.0, 100.0], "easting_m": [500.0, 530.0, 500.0],
    "northing_m": [900.0, 900.0, 1000.0], "ground_elevation_m": [100.0, 101.0, 99.0],
    "screen_top_m": [20.0, 21.0, 3.0], "screen_bottom_m": [38.0, 30.0, 4.0], "total_depth_m": [40.0, 32.0, 20.0],
    "radius_m": [0.1, 0.025, np.nan], "casing_radius_m": [0.08, 0.025, np.nan], "aquifer": ["upper"] * 3,
    "use": ["production", "observation", ""],
}  # fmt: skip


def level_rows(*rows, **every):
    """Return levels from rows of well, minute, depth to water; more columns by name, one value for all."""
    ground = dict(zip(WELLS["well"], WELLS["ground_elevation_m"], strict=True))
    table = pd.DataFrame(
        [
            {
                "well": well, "measured_at_utc": START + pd.Timedelta(minutes=minute), "elapsed_min": float(minute),
                "water_elevation_m": ground.get(well, np.nan) + 0.5 - depth, "depth_to_water_m": depth,
                "air_correction_m": np.nan, "given_drawdown_m": np.nan, "half_width_m": 0.004, "source": "manual",
                "passed": "", "quality": "",
            }
            for well, minute, depth in rows
        ],
        columns=list(LEVEL_COLUMNS),
    )  # fmt: skip
    return table.assign(**every)


def rate_rows(*rows):
    """Return rates from rows of well, minute and rate."""
    return pd.DataFrame(rows, columns=["well", "elapsed_min", "rate_l_s"]).astype(
        {"elapsed_min": float, "rate_l_s": float}
    )


def other_rows(*rows):
    """Return the pumping of others from rows of test, well, aquifer, first and last minute, and rate."""
    return pd.DataFrame(rows, columns=["test", "well", "aquifer", "from_min", "until_min", "rate_l_s"]).astype(
        {"from_min": float, "until_min": float, "rate_l_s": float}
    )


#: Rates with two from one moment and one after the stop, and levels out of order, one before the day before the start.
RATES = [("PW", 0, 8.0), ("O1", 0, 99.0), ("PW", 120, 7.0), ("PW", 120, 10.0), ("PW", 700, 3.0)]
READ = [
    ("PW", -60, 5.00), ("PW", -1440, 5.04), ("PW", -1441, 7.0), ("PW", 0, 5.02), ("PW", 90, 9.0), ("PW", 600, 12.0),
    ("PW", 660, 6.0), ("O1", -30, 6.0), ("O1", 300, 7.0), ("O1", 20, 6.5),
]  # fmt: skip

LEVELS = (("PW", -60, 5.0), ("PW", 10, 9.0), ("PW", 300, 12.0), ("O1", -30, 6.0), ("O1", 20, 6.5), ("O1", 300, 7.0))


def gathered(levels=LEVELS, rates=(("PW", 0, 8.0),), others=(), *, stop_min=600.0, wells=None, **more):
    """Return a test with these levels, rates and other pumping."""
    stop = pd.NaT if math.isinf(stop_min) else START + pd.Timedelta(minutes=stop_min)
    made = {
        "site": "S", "test": "PT-1", "kind": "constant rate", "well": "PW", "purpose": "", "crew": "", "notes": "",
        "zone": "UTC+01:00", "starts_utc": START, "stops_utc": stop, "before_hours": 24.0, "rates": rate_rows(*rates),
        "levels": levels if isinstance(levels, pd.DataFrame) else level_rows(*levels), "left_out": 0,
        "wells": pd.DataFrame({**WELLS, **(wells or {})}), "others": other_rows(*others), "intake_depth_m": 30.0,
        "thickness_m": 20.0,
    }  # fmt: skip
    return GatheredTest(**{**made, **more})
