"""Air pressure for sea level brought to a site, against the table of the standard atmosphere."""

import numpy as np
import pytest

from gwnet.errors import ReductionError
from gwnet.hydro.loggers.barometric import air_pressure_at
from gwnet.hydro.loggers.sea_level import station_pressure, station_pressure_half_width


@pytest.mark.parametrize(
    ("height", "hpa"),
    [(-500, 1074.78), (0, 1013.25), (500, 954.61), (1000, 898.75), (2000, 794.95), (5000, 540.20), (11_000, 226.32)],
)
def test_the_standard_atmosphere(height, hpa):
    """ICAO Doc 7488 (1993), table of the standard atmosphere by geopotential height (from memory)."""
    assert float(station_pressure(101_325.0, height)) / 100 == pytest.approx(hpa, abs=0.006)


def test_near_sea_level_it_is_the_air_of_one_temperature():
    for height in (-100.0, 0.0, 100.0):
        same = air_pressure_at(101_800.0, height, air_temperature_degc=15.0 - 0.00325 * height)
        assert float(station_pressure(101_800.0, height)) == pytest.approx(float(same), abs=0.1)


def test_the_uncertainty_covers_air_of_another_temperature():
    """Air 15 K colder than the standard all the way down is at the limit that the temperature gives."""
    for height in (200.0, 500.0, 1500.0):
        standard = float(station_pressure(101_325.0, height))
        mean = 15.0 - 0.00325 * height
        cold = float(air_pressure_at(101_325.0, height, air_temperature_degc=mean - 15.0))
        of_column = np.sqrt(float(station_pressure_half_width(standard, height)) ** 2 - 100.0**2)
        assert standard - cold == pytest.approx(of_column, rel=0.1)
    assert float(station_pressure_half_width(101_325.0, 0.0)) == 100.0


def test_heights_beyond_the_troposphere_are_refused_and_missing_values_stay():
    with pytest.raises(ReductionError, match="12000 m is outside"):
        station_pressure([101_325.0, 101_325.0], [10.0, 12_000.0])
    assert np.isnan(station_pressure([np.nan, 1e5], [10.0, np.nan])).all()
