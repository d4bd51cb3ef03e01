import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from gwnet.cli.cells import cell_text, csv_value, file_value, heading
from gwnet.plain_text import without_control_signs


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("depth_to_water_m", "depth to water [m]"),
        ("water_elevation_ft", "water elevation [ft]"),
        ("valid_from_utc", "valid from [UTC]"),
        ("azimuth_deg", "azimuth [°]"),
        ("well", "well"),
    ],
)
def test_a_heading_carries_its_unit(name, title):
    assert heading(name) == title


@pytest.mark.parametrize(
    ("value", "name", "text"),
    [
        (97.775, "water_elevation_m", "97.775"),
        (320.784, "water_elevation_ft", "320.78"),
        (-0.2, "depth_to_water_m", "-0.200"),
        (math.nan, "depth_to_water_m", "–"),
        (None, "drilled_on", "–"),
        (pd.NaT, "valid_until_utc", "–"),
        (np.float64(451203.4), "easting", "451203.40"),
        (0.00123456, "gradient", "0.00123"),
        (132.387, "azimuth_degrees", "132.4"),
        (np.int64(3), "consecutive", "3"),
        (True, "used", "yes"),
        (np.bool_(False), "used", "no"),
        (dt.date(2026, 3, 10), "drilled_on", "2026-03-10"),
        (pd.Timestamp("2026-03-10 08:15:00+00:00"), "measured_at_utc", "2026-03-10 08:15"),
        (["MW-1", "MW-2"], "wells", "MW-1; MW-2"),
        ("two\nlines", "notes", "two lines"),
    ],
)
def test_a_cell_reads_as_a_person_would_write_it(value, name, text):
    assert cell_text(value, name) == text


def test_control_signs_from_a_file_cannot_steer_the_terminal():
    assert without_control_signs("\x1b[31mred\x07") == r"\x1b[31mred\x07"
    assert without_control_signs("Grundwasser − 3 m\n") == "Grundwasser − 3 m\n"


@pytest.mark.parametrize(
    ("value", "plain"),
    [
        (97.77499999999999, 97.775),
        (2.0712345678e-05, 2.07123e-05),
        (np.float64(1.0), 1.0),
        (math.nan, None),
        (np.int64(4), 4),
        (np.bool_(True), True),
        (("a", math.nan), ["a", None]),
        (dt.date(2026, 3, 10), "2026-03-10"),
        (pd.Timestamp("2026-03-10 08:15:00+00:00"), "2026-03-10T08:15:00+00:00"),
    ],
)
def test_a_file_holds_plain_values(value, plain):
    assert file_value(value) == plain
    assert type(file_value(value)) is type(plain)


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+49", "'+49"),
        ("-3 cm", "'-3 cm"),
        ("@x", "'@x"),
        ("\tx", "'\tx"),
        ("<=", "<="),
        (-3.5, -3.5),
        (None, ""),
        (["a", "b"], "a;b"),
        (False, "false"),
    ],
)
def test_no_csv_cell_runs_as_a_formula(value, cell):
    assert csv_value(value) == cell
