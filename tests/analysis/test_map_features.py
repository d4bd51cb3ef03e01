"""Maps with barriers, rivers, boundaries, bounds of heads, splines and a chosen method; constructed fields."""

import dataclasses
import datetime as dt
import re

import numpy as np
import pandas as pd
import pytest
import shapely

from gwnet.analysis.maps.compartments import CompartmentSurface
from gwnet.analysis.maps.features import MapFeatures, River
from gwnet.analysis.maps.potentiometric import make_map
from gwnet.analysis.maps.same_day import same_day_set
from gwnet.errors import SettingsError, TooFewLevelsError
from gwnet.hydro.surfaces.kriging import KrigedSurface

from .frames import levels, stages, wells

DAY = dt.date(2026, 3, 17)


def control_at(places, heads, *, ground=50.0, river=None):
    names = [f"W{number:02d}" for number in range(1, len(places) + 1)]
    site = wells(*[(n, x, y, {"ground_elevation_m": ground}) for n, (x, y) in zip(names, places, strict=True)])
    taken = levels(*[(n, "2026-03-17T10:00", float(h), {}) for n, h in zip(names, heads, strict=True)])
    return same_day_set(taken, site, aquifer="upper", date=DAY, time_zone="UTC+01:00", stages=river)


def lattice(step=200.0, count=6):
    """Places on a lattice, shaken a little so that no two wells share a row."""
    random = np.random.default_rng(17)
    x, y = np.meshgrid(np.arange(count) * step, np.arange(count) * step)
    return np.column_stack([x.ravel(), y.ravel()]) + random.uniform(-30, 30, (count * count, 2))


PLACES = lattice()
PLANE = 40.0 - 0.002 * PLACES[:, 0] + 0.001 * PLACES[:, 1]
#: A fault through the middle; heads stand 5 m higher west of it.
FAULT = shapely.LineString([(500, -300), (505, 1400)])
STEPPED = PLANE + np.where(PLACES[:, 0] < 502, 5.0, 0.0)


def mapped(heads=PLANE, features=None, control=None, **options):
    control = control_at(PLACES, heads) if control is None else control
    return make_map(control, aquifer="upper", date=DAY, crs="EPSG:25832", features=features, **options)


@pytest.fixture(scope="module")
def parted():
    return mapped(STEPPED, MapFeatures(barriers=(FAULT,)))


def test_a_fault_divides_the_map_into_compartments(parted):
    assert isinstance(parted.surface, CompartmentSurface)
    assert [part.positions.size for part in parted.surface.compartments] == [18, 18]
    assert not parted.region.intersects(FAULT)
    assert parted.honour_failures == ()
    for line in parted.contours:
        assert parted.region.buffer(1e-6).covers(shapely.LineString(np.column_stack([line.x, line.y])))
    for arrow in parted.arrows:
        assert not shapely.LineString(arrow.ends).intersects(FAULT)
    assert any("divide the control into 2 compartments with 18 and 18 levels" in text for text in parted.cautions)


def test_a_map_without_barriers_says_nothing_of_compartments():
    whole = mapped()
    assert not any("ompartment" in text or "arrier" in text for text in whole.cautions)


def test_each_compartment_is_made_from_its_own_wells_alone(parted):
    """Each compartment is a plane, so both are met everywhere and leave-one-out errors are nothing; as one surface they are not."""
    inside = np.array([[250.0, 500.0], [750.0, 500.0]])
    plane = 40.0 - 0.002 * inside[:, 0] + 0.001 * inside[:, 1]
    assert parted.surface.predict(*inside.T) == pytest.approx(plane + np.array([5.0, 0.0]), abs=1e-3)
    assert parted.cross_validation.rmse_m < 0.01
    assert mapped(STEPPED).cross_validation.rmse_m > 0.3


def test_between_the_compartments_nothing_is_drawn(parted):
    at = int(np.argmin(np.abs(parted.grid.x - 502)))
    assert np.isnan(parted.grid.water_elevation_m[:, at]).all()
    assert np.isnan(parted.surface.predict([502.0], [500.0], inside_control=True)).all()


def test_a_compartment_with_too_few_wells_is_left_out_with_the_reason():
    fault = shapely.LineString([(-100, 60), (1100, 60)])
    places = np.array([[0, 0], [600, 10], [0, 400], [500, 420], [900, 500], [450, 900]], dtype=float)
    heads = 30 - 0.002 * places[:, 0]
    made = mapped(control=control_at(places, heads), features=MapFeatures(barriers=(fault,)))
    reasons = dict(zip(made.left_out["well"], made.left_out["reason"], strict=True))
    assert reasons == dict.fromkeys(["W01", "W02"], "no surface: only 2 levels of its compartment can be used")
    assert len(made.used) == 4


def test_no_compartment_with_enough_wells_is_refused():
    places = np.array([[0, 0], [600, 10], [0, 400], [500, 420]], dtype=float)
    with pytest.raises(TooFewLevelsError, match="No compartment between the barriers has three levels"):
        mapped(
            control=control_at(places, [1.0, 2.0, 3.0, 4.0]),
            features=MapFeatures(barriers=(shapely.LineString([(-100, 200), (1000, 200)]),)),
        )


@pytest.mark.slow
def test_a_fault_that_ends_inside_is_gone_around():
    short = shapely.LineString([(500, -300), (505, 700)])
    heads = PLANE + np.where((PLACES[:, 0] < 502) & (PLACES[:, 1] < 650), 3.0, 0.0)
    made = mapped(heads, MapFeatures(barriers=(short,)))
    assert isinstance(made.surface, KrigedSurface)
    assert made.surface.barriers is not None
    assert made.surface.predict([490.0], [200.0]) - made.surface.predict([515.0], [200.0]) > 2.0
    for line in made.contours:
        assert not shapely.LineString(np.column_stack([line.x, line.y])).intersects(short)
    assert any("distances go around its end" in text for text in made.cautions)
    with pytest.raises(SettingsError, match="only kriging can go around its end"):
        mapped(heads, MapFeatures(barriers=(short,)), method="auto")


def test_a_barrier_beside_the_control_changes_nothing():
    beside = MapFeatures(barriers=(shapely.LineString([(2000, 0), (2000, 900)]),))
    assert mapped(features=beside).grid.water_elevation_m == pytest.approx(mapped().grid.water_elevation_m, nan_ok=True)
    assert mapped(features=beside).region is None


def test_a_boundary_ends_the_map():
    limit = shapely.box(300, 300, 5000, 700)
    made = mapped(features=MapFeatures(boundary=limit))
    assert limit.covers(made.region)
    assert made.region.area < 0.5 * shapely.Polygon(made.boundary).area
    for line in made.contours:
        assert limit.buffer(1e-6).covers(shapely.LineString(np.column_stack([line.x, line.y])))
    held = np.isfinite(made.grid.water_elevation_m)
    assert held.any()
    assert (made.grid.y[np.flatnonzero(held.any(axis=1))] <= 700.0 + 1e-6).all()
    assert len(made.used) == 36


def test_a_boundary_elsewhere_is_refused():
    with pytest.raises(SettingsError, match="holds nothing of the control"):
        mapped(features=MapFeatures(boundary=shapely.box(9000, 0, 9100, 100)))


def test_a_river_enters_with_its_heads_and_counts_for_nothing_else():
    """A river 1 m below the plane: the surface falls to it, while gradient and cross-validation stay the wells' own."""
    line = shapely.LineString([(-100, 500), (1100, 500)])
    river = River("Orle", line, 39.0 + 0.2, 39.0 - 2.2)
    made = mapped(features=MapFeatures(rivers=(river,)))
    points = made.control[made.control["kind"] == "river"]
    assert len(points) >= 5
    assert points["well"].str.startswith("Orle ").all()
    for x, y in zip(points["easting"], points["northing"], strict=True):
        along = (x + 100) / 1200
        assert y == pytest.approx(500.0)
        assert made.surface.predict([x], [y])[0] == pytest.approx(39.2 - 2.4 * along, abs=0.05)
    assert made.gradient.n == 36
    assert made.gradient.magnitude == pytest.approx(mapped().gradient.magnitude)
    assert made.cross_validation.n == 36
    assert not any(finding.well.startswith("Orle") for finding in made.findings)
    assert any("Heads along Orle enter at" in text for text in made.cautions)


def test_a_river_takes_its_heads_from_its_corners():
    line = shapely.LineString([(0, 500, 41.0), (500, 500, 40.0), (1000, 500, 37.0)])
    made = mapped(features=MapFeatures(rivers=(River("Orle", line),)))
    points = made.control[made.control["kind"] == "river"]
    expected = np.interp(points["easting"], [0, 500, 1000], [41.0, 40.0, 37.0])
    assert points["water_elevation_m"].to_numpy() == pytest.approx(expected)


def test_a_river_without_heads_takes_those_between_its_gauges():
    gauges = stages(
        ("G1", "2026-03-17T09:00Z", 39.0, 200.0, 510.0, "upper"),
        ("G2", "2026-03-17T09:00Z", 38.0, 800.0, 495.0, "upper"),
    )
    line = shapely.LineString([(-100, 500), (1100, 500)])
    features = MapFeatures(rivers=(River("Orle", line),))
    made = mapped(control=control_at(PLACES, PLANE, river=gauges), features=features)
    points = made.control[made.control["kind"] == "river"]
    assert points["easting"].between(200, 800).all()
    assert points["water_elevation_m"].to_numpy() == pytest.approx(39.0 - (points["easting"] - 200) / 600, abs=1e-9)
    with pytest.raises(SettingsError, match=r"head of Orle is not known: .* 0 used gauges are within 50 m"):
        mapped(features=features)


def test_heads_below_the_base_of_the_unit_are_not_drawn():
    made = mapped(features=MapFeatures(base_m=39.0))
    assert np.nanmin(made.grid.water_elevation_m) > 39.0
    assert all(line.level_m > 39.0 for line in made.contours)
    assert any("falls to or below the base of the unit at 39.00 m" in text for text in made.cautions)
    assert all(float(made.surface.predict(arrow.x, arrow.y)) > 39.0 for arrow in made.arrows)
    assert not any("base of the unit" in text for text in mapped(features=MapFeatures(base_m=10.0)).cautions)


def test_heads_above_the_ground_are_marked():
    """Ground at 39.6 m: the plane stands above it in the north-west."""
    made = mapped(control=control_at(PLACES, PLANE, ground=39.6), check_ground=True)
    assert made.above_ground is not None
    corner = made.above_ground.representative_point()
    assert made.surface.predict([corner.x], [corner.y])[0] > 39.6
    assert not made.above_ground.covers(shapely.Point(900, 100))
    text = next(text for text in made.cautions if text.startswith("Heads are up to"))
    assert "above the ground as interpolated between wells" in text
    assert mapped(control=control_at(PLACES, PLANE, ground=60.0), check_ground=True).above_ground is None
    assert mapped(control=control_at(PLACES, PLANE, ground=np.nan), check_ground=True).above_ground is None
    assert mapped(control=control_at(PLACES, PLANE, ground=39.6)).above_ground is None


def test_a_spline_map():
    made = mapped(method="spline")
    assert made.method_text == "Thin-plate spline; levels taken as exact."
    assert made.honour_failures == ()
    assert (
        np.nanmax(np.abs(made.grid.water_elevation_m - (40 - 0.002 * made.grid.x + 0.001 * made.grid.y[:, None])))
        < 1e-6
    )
    assert "covariance" not in dict(made.parameters)


def test_a_trend_surface_map():
    bowl = 40 + 1e-6 * ((PLACES[:, 0] - 500) ** 2 + (PLACES[:, 1] - 400) ** 2)
    off = np.where(np.arange(len(PLACES)) == 14, 0.3, 0.0)
    made = mapped(bowl + off, method="quadratic", interval_m=0.05)
    assert made.method_text.startswith("Quadratic trend surface by least squares")
    assert made.honour_failures == ()
    parameters = dict(made.parameters)
    assert parameters["degrees of freedom"] == str(len(PLACES) - 6)
    assert "covariance" not in parameters
    assert f"from easting {round(PLACES[:, 0].mean())} and northing" in parameters["head in metres"]
    assert re.search(r" \+(9\.\d+e-07|1(\.\d+)?e-06) x² ", parameters["head in metres"])
    name = made.used["well"].tolist()[14]
    text = next(text for text in made.cautions if text.startswith("The trend surface"))
    residual = made.surface.residual_m
    assert (
        f"{np.sqrt(np.mean(residual**2)):.2f} m (root mean square), most at {name}, {residual[14]:.2f} m above" in text
    )
    assert "beyond the levels" not in text
    assert np.isfinite(made.cross_validation.rmse_m)


def test_a_trend_surface_that_leaves_the_range_of_the_levels_says_so():
    saddle = 40 + 1e-5 * (PLACES[:, 0] - 500) * (PLACES[:, 1] - 400)
    kept = (np.abs(saddle - 40) < 0.8) & ~((PLACES[:, 0] == 500) & (PLACES[:, 1] == 400))
    made = mapped(control=control_at(PLACES[kept], saddle[kept]), method="quadratic", interval_m=0.1)
    text = next(text for text in made.cautions if text.startswith("The trend surface"))
    assert "beyond the levels" in text


def test_six_levels_carry_no_trend_surface():
    few = [0, 5, 14, 20, 30, 35]
    with pytest.raises(TooFewLevelsError, match="at least 7 wells; 6 can be used"):
        mapped(control=control_at(PLACES[few], PLANE[few]), method="quadratic")


def test_the_choice_is_stated_with_all_scores():
    bowl = 40 + 1e-6 * ((PLACES[:, 0] - 500) ** 2 + (PLACES[:, 1] - 400) ** 2)
    made = mapped(bowl, method="auto")
    assert {score.method for score in made.scores} == {"kriging", "spline", "triangulation"}
    errors = [score.rmse_m for score in made.scores]
    assert errors == sorted(errors)
    assert made.method == made.scores[0].method
    assert len({score.n for score in made.scores}) == 1
    assert f"Chosen by leave-one-out error (rms over {made.scores[0].n} levels): {made.method} " in made.method_text
    alone = mapped(bowl, method=made.method)
    assert alone.grid.water_elevation_m == pytest.approx(made.grid.water_elevation_m, nan_ok=True)


def test_too_few_levels_to_choose_take_kriging():
    made = mapped(control=control_at(PLACES[[0, 5, 14, 30, 35]], PLANE[[0, 5, 14, 30, 35]]), method="auto")
    assert (made.method, made.scores) == ("kriging", ())


def test_features_of_a_map_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        MapFeatures().base_m = 1.0


def test_the_control_keeps_its_kinds_of_columns():
    river = River("Orle", shapely.LineString([(-100, 500), (1100, 500)]), 39.0, 38.0)
    plain, made = control_at(PLACES, PLANE), mapped(features=MapFeatures(rivers=(river,))).control
    pd.testing.assert_series_equal(made.dtypes, plain.dtypes)
