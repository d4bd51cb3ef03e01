"""Maps of change as GeoPackage, read by a reader that is not ours."""

import datetime as dt

import numpy as np
import pyogrio
import pytest

from gwnet.analysis.maps.change import ChangeResult
from gwnet.analysis.maps.potentiometric import make_map
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.exchange.change_geopackage import change_geopackage
from gwnet.hydro.gradients.seepage import Interval
from gwnet.hydro.surfaces.surface_sums import ChangeSums

from ..analysis.frames import field

SINCE, DAY = dt.date(2025, 3, 17), dt.date(2026, 3, 17)
SUMS = ChangeSums(2.0e6, -0.25, 0.05, 0.0, 5.0e5, 0.0, 1.5e6)


@pytest.fixture(scope="module")
def change():
    """A change that is the level itself; one well without coordinates, one of which nothing is significant."""
    site, taken = field()
    control = same_day_set(taken, site, aquifer="upper", date=DAY, time_zone="UTC+01:00")
    drawn = make_map(control, aquifer="upper", date=DAY, crs="EPSG:25832", vertical_datum="DHHN2016")
    wells = control.assign(
        measured_before="2025-03-17",
        measured_after="2026-03-17",
        water_elevation_before_m=control["water_elevation_m"] + 0.25,
        water_elevation_after_m=control["water_elevation_m"],
        change_m=-0.25,
        is_significant=control["well"] != "MW-02",
    )
    wells.loc[wells["well"] == "MW-01", ["easting", "northing"]] = np.nan
    return ChangeResult("upper", DAY, SINCE, wells, drawn, SUMS, Interval(0.08, 0.12, "0.08..0.12"))


@pytest.fixture(scope="module")
def package(change, tmp_path_factory):
    path = tmp_path_factory.mktemp("gpkg") / "change.gpkg"
    path.write_bytes(change_geopackage(change))
    return path


def test_every_well_is_a_point_with_its_change_and_whether_it_is_significant(package, change):
    read = pyogrio.read_dataframe(package, layer="changes").set_index("well")
    assert set(read.index) == set(change.wells["well"])
    assert (read["change_m"] == -0.25).all()
    assert read.index[~read["is_significant"]].tolist() == ["MW-02"]
    assert read.index[read.geometry.is_empty | read.geometry.isna()].tolist() == ["MW-01"]


def test_contours_bear_the_change_they_stand_for(package, change):
    read = pyogrio.read_dataframe(package, layer="contours")
    assert sorted(read["change_m"]) == sorted(line.level_m for line in change.surface_map.contours)
    assert read.crs.to_epsg() == 25832


def test_the_boundary_has_the_volumes_and_the_water_with_its_bounds(package):
    [row] = pyogrio.read_dataframe(package, layer="boundary").drop(columns="geometry").to_dict("records")
    assert (row["since"], row["date"], row["storage_coefficient"]) == ("2025-03-17", "2026-03-17", "0.08..0.12")
    assert (row["rise_m3"], row["fall_m3"]) == (0.0, 5.0e5)
    # 2 km² fell by 0.25 ± 0.05 m: at 8 to 12 % of storage between 0.20 × 8 % and 0.30 × 12 % of 2,000,000 m³
    # the middle is the geometric mean of the two, as for every interval that a person gives
    assert row["water_m3"] == pytest.approx(-2.0e6 * 0.25 * np.sqrt(0.08 * 0.12))
    assert (row["water_lowest_m3"], row["water_highest_m3"]) == (pytest.approx(-72_000.0), pytest.approx(-32_000.0))


def test_the_same_change_gives_the_same_bytes(package, change):
    assert change_geopackage(change) == package.read_bytes()
