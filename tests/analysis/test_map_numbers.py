"""Numbers of maps against surfaces made again without a level, planes by numpy and triangles by scipy; constructed."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.interpolate import LinearNDInterpolator

from gwnet.analysis.maps.data_worth import WORTH_COLUMNS, worth_of
from gwnet.analysis.maps.features import MapFeatures, River
from gwnet.analysis.maps.method_choice import choose_method
from gwnet.analysis.maps.paired import paired_maps_of
from gwnet.analysis.maps.potentiometric import make_map
from gwnet.analysis.maps.result import Control
from gwnet.analysis.maps.same_day import CONTROL_COLUMNS, same_day_set
from gwnet.analysis.maps.site_maps import SetRule
from gwnet.errors import AnalysisError, SettingsError
from gwnet.hydro.gradients.local import surface_slopes
from gwnet.hydro.surfaces import kriging, spline, triangulation
from gwnet.hydro.surfaces.kriging_system import places_for_wells
from gwnet.hydro.surfaces.surface_sums import hull_nodes
from gwnet.hydro.surfaces.variogram import Covariance

from .frames import FrameRecord, levels, wells

DAY, LATER = dt.date(2026, 3, 17), dt.date(2026, 9, 15)
COVARIANCE = Covariance("exponential", 0.04, 500.0)
NORMAL = 1.959963984540054

X = np.array([0.0, 400.0, 30.0, 420.0, 210.0, 110.0, 330.0, 250.0, 170.0, 60.0])
Y = np.array([0.0, 30.0, 300.0, 310.0, 170.0, 90.0, 220.0, 40.0, 270.0, 200.0])
WIDTHS = np.array([0.02, 0.03, 0.025, 0.02, 0.05, 0.02, 0.03, 0.02, 0.04, 0.02])
Z = 40.0 - 0.002 * X + 0.0005 * Y + 0.02 * np.sin(np.arange(10) * 2.0)
NAMES = [f"W{k}" for k in range(10)]


def control_of(z=Z, x=X, y=Y, widths=WIDTHS, scale=1.0):
    site = wells(*[(name, a * scale, b * scale, {}) for name, a, b in zip(NAMES, x, y, strict=False)])
    rows = zip(NAMES, z, np.broadcast_to(widths, np.shape(z)), strict=False)
    taken = levels(*[(name, f"{DAY}T10:00", float(head), {"uncertainty_m": float(half)}) for name, head, half in rows])
    return same_day_set(taken, site, aquifer="upper", date=DAY, time_zone="UTC+01:00")


def mapped(control, **options):
    given = {"covariance": COVARIANCE, "interval_m": 20.0, "grid_lines": 21, **options}
    return make_map(control, aquifer="upper", date=DAY, **given)


def kriged(rows, z=Z, widths=WIDTHS):
    """Return the kriged surface of some wells, with the errors of their levels as variances."""
    return kriging.fit(
        X[rows], Y[rows], z[rows], covariance=COVARIANCE, measurement_variance_m2=(widths[rows] / NORMAL) ** 2
    )


def plane(rows, z=Z):
    """Return size and azimuth of the plane by least squares."""
    design = np.column_stack([np.ones(len(rows)), X[rows], Y[rows]])
    _, east, north = np.linalg.lstsq(design, z[rows], rcond=None)[0]
    return np.hypot(east, north), np.degrees(np.arctan2(-east, -north)) % 360.0


OFF = Z + np.where(np.arange(10) == 4, 3.0, 0.0)


@pytest.fixture(scope="module")
def off():
    """A map of which one level, W4, is 3 m too high."""
    return mapped(control_of(OFF))


def test_leave_one_out_errors_are_those_of_surfaces_without_the_level(off):
    everything = np.arange(10)
    rows = [np.delete(everything, k) for k in everything]
    errors = np.array([OFF[k] - float(kriged(rows[k], OFF).predict(X[k], Y[k])) for k in everything])
    checked = off.cross_validation
    assert (checked.n, list(checked.residual_m.index)) == (10, NAMES)
    assert checked.residual_m.to_numpy() == pytest.approx(errors, rel=1e-6)
    assert checked.mean_error_m == pytest.approx(errors.mean(), rel=1e-6)
    assert checked.rmse_m == pytest.approx(np.sqrt(np.mean(errors**2)), rel=1e-6)
    assert checked.rmse_sound_m == pytest.approx(np.sqrt(np.mean(np.delete(errors, 4) ** 2)), rel=1e-6)


def test_the_gradient_is_stated_with_and_without_what_does_not_fit(off):
    assert [finding.well for finding in off.findings] == ["W4"]
    everything = np.arange(10)
    for gradient, rows in ((off.gradient, everything), (off.gradient_sound, np.delete(everything, 4))):
        size, towards = plane(rows, OFF)
        assert (gradient.magnitude, gradient.azimuth_deg) == pytest.approx((size, towards), rel=1e-9)


def test_a_map_is_compared_with_linear_interpolation_over_its_grid(off):
    flat = LinearNDInterpolator(np.column_stack([X, Y]), OFF)
    difference = off.grid.water_elevation_m - flat(*np.meshgrid(off.grid.x, off.grid.y))
    assert off.against_triangulation_m == pytest.approx(np.sqrt(np.nanmean(difference**2)), rel=1e-6)


def test_used_and_left_out_rows_are_numbered_from_zero():
    made = mapped(control_of(), exclude=["W0", "W5"], method="spline")
    assert made.used.index.tolist() == list(range(8))
    assert made.left_out.index.tolist() == [0, 1]
    assert tuple(made.used.columns) == tuple(made.left_out.columns) == CONTROL_COLUMNS
    assert made.left_out["well"].tolist() == ["W0", "W5"]


@pytest.mark.parametrize(("half_width", "interval"), [(0.05, 0.1), (0.0501, 0.2), (0.1, 0.2), (0.01, 0.1)])
def test_the_interval_is_twice_the_usual_half_width_at_least(half_width, interval):
    """Heads span some 0.9 m: at most 12 contours are 0.1 m apart, unless twice the half-width is more."""
    widths = np.where(np.arange(10) < 2, 9.0, half_width)
    assert mapped(control_of(widths=widths), interval_m=None, method="spline").interval_m == pytest.approx(interval)


def test_points_of_rivers_count_for_nothing_but_the_surface():
    """The river's heads are 30 m off those of the wells, and of no uncertainty on record."""
    river = River("Orle", shapely.LineString([(-50, 120), (500, 130)]), 70.0, 71.0)
    made = mapped(control_of(), features=MapFeatures(rivers=(river,)))
    assert (made.control["kind"] == "river").sum() > 3
    assert [finding.well for finding in made.findings if finding.well.startswith("Orle")] == []
    assert not any("No uncertainty is on record" in text for text in made.cautions)
    assert (made.cross_validation.n, list(made.cross_validation.residual_m.index)) == (10, NAMES)
    assert made.gradient.n == 10
    assert made.span.text.startswith("one day; 0.0 hours from the first")


def test_where_the_others_lie_on_one_line_the_gradient_is_stated_with_all():
    """Nine wells along a line within a millimetre, and one beside it that is 5 m too high."""
    x = np.arange(10) * 100.0
    y = np.where(np.arange(10) == 4, 200.0, 0.0) + 0.001 * np.sin(np.arange(10))
    z = 40.0 - 0.002 * x + np.where(np.arange(10) == 4, 5.0, 0.0)
    made = mapped(control_of(z, x, y, np.full(10, 0.02)))
    assert made.gradient_sound is None
    assert made.gradient.n == 10


@pytest.mark.parametrize(("count", "sound"), [(4, 3), (3, None)])
def test_the_gradient_without_a_finding_needs_three_wells_beside_the_rivers(count, sound):
    """W2 stands 9 m above a plane that the other wells and both rivers lie on."""
    x, y = X[[0, 1, 4, 3]][:count], Y[[0, 1, 4, 3]][:count]
    z = 40.0 - 0.002 * x + 0.0005 * y + np.where(np.arange(count) == 2, 9.0, 0.0)
    lines = [[(-50, 60), (450, 60)], [(-50, 200), (450, 230)]]
    rivers = [
        River(f"R{k}", shapely.LineString([(a, b, 40.0 - 0.002 * a + 0.0005 * b) for a, b in line]))
        for k, line in enumerate(lines)
    ]
    made = mapped(control_of(z, x, y, np.full(count, 0.02)), features=MapFeatures(rivers=tuple(rivers)))
    assert [finding.well for finding in made.findings] == ["W2"]
    assert (None if made.gradient_sound is None else made.gradient_sound.n) == sound


def control_arrays_of(rows):
    names = [NAMES[k] for k in rows]
    return Control(names, X[rows], Y[rows], Z[rows], WIDTHS[rows], 0, np.ones(len(rows), dtype=bool))


def without(fit, rows):
    """Return by what each level differs from the surface of the others, NaN where they give none."""
    errors = []
    for k in rows:
        others = np.array([other for other in rows if other != k])
        errors.append(Z[k] - float(fit(others).predict([X[k]], [Y[k]], inside_control=fit is not kriged)[0]))
    return np.array(errors)


def test_the_method_with_the_least_error_over_common_levels_is_chosen():
    """Five levels and more that every method can estimate from the others, and of which none is doubtful."""
    rows = np.arange(10)
    counted = np.isin(rows, [5], invert=True)
    method, scores = choose_method(control_arrays_of(rows), counted, COVARIANCE, "linear")
    errors = {
        "kriging": without(kriged, rows),
        "spline": without(lambda others: spline.fit(X[others], Y[others], Z[others]), rows),
        "triangulation": without(lambda others: triangulation.fit(X[others], Y[others], Z[others]), rows),
    }
    common = counted & np.isfinite(errors["triangulation"])
    assert common.sum() == 5
    # a spline goes on beyond the hull of its levels; its errors there count no more than those of the others
    expected = {name: np.sqrt(np.mean(error[common] ** 2)) for name, error in errors.items()}
    assert {score.method: score.rmse_m for score in scores} == pytest.approx(expected, rel=1e-6)
    assert [score.n for score in scores] == [5, 5, 5]
    assert [score.method for score in scores] == sorted(expected, key=expected.get)
    assert method == scores[0].method
    fewer = counted & (rows != 6)
    assert choose_method(control_arrays_of(rows), fewer, COVARIANCE, "linear") == ("kriging", ())


# What each well is worth.


@pytest.fixture(scope="module")
def worth(off):
    return worth_of(off, candidates=2)


def test_a_well_is_worth_what_the_map_without_it_differs_by(off, worth):
    assert tuple(worth.wells.columns) == WORTH_COLUMNS
    everything = np.arange(10)
    x, y, area = hull_nodes(off.boundary)
    whole = kriged(everything, OFF)
    error = np.sqrt(area @ whole.standard_error(x, y) ** 2 / area.sum())
    assert worth.error_m == pytest.approx(error, rel=1e-9)
    hull = shapely.MultiPoint(np.column_stack([X, Y])).convex_hull.area
    size, towards = plane(everything, OFF)
    table = worth.wells.set_index("well")
    for k, name in enumerate(NAMES):
        rows = np.delete(everything, k)
        without = kriged(rows, OFF)
        change = np.abs(without.predict(x, y) - whole.predict(x, y))
        bare = np.sqrt(area @ without.standard_error(x, y) ** 2 / area.sum())
        smaller, turned = plane(rows, OFF)
        left = shapely.MultiPoint(np.column_stack([X[rows], Y[rows]])).convex_hull.area
        expected = {
            "mean_change_m": area @ change / area.sum(),
            "largest_change_m": change.max(),
            "error_increase_percent": 100.0 * (bare / error - 1.0),
            "control_lost_percent": 100.0 * (1.0 - left / hull),
            "gradient_change_percent": 100.0 * (smaller / size - 1.0),
            "direction_turn_degrees": (turned - towards + 180.0) % 360.0 - 180.0,
        }
        assert table.loc[name, list(expected)].to_dict() == pytest.approx(expected, rel=1e-6, abs=1e-9), name
    notes = {"W4": "does not fit its neighbours: look at its level first"}
    assert table["note"].to_dict() == dict.fromkeys(NAMES, "") | notes
    assert set(table["kind"]) == {"well"}


def test_wells_are_ranked_from_the_least_worth_on(worth):
    assert worth.wells["rank"].tolist() == list(range(1, 11))
    assert worth.wells.index.tolist() == list(range(10))
    assert worth.wells["mean_change_m"].is_monotonic_increasing


@pytest.mark.parametrize(("widths", "half_width"), [(WIDTHS, 0.0225), (np.full(10, np.nan), 0.0)])
def test_further_wells_are_read_as_these_were(widths, half_width):
    """Half of the levels have half-widths of 2 cm, the others 2.5 and more: the median is 2.25 cm."""
    made = mapped(control_of(widths=widths))
    nodes = hull_nodes(made.boundary)
    places = places_for_wells(made.surface, *nodes, count=2, measurement_variance_m2=(half_width / NORMAL) ** 2)
    assert worth_of(made, candidates=2).candidates == places


def test_wells_in_feet_are_worth_what_they_are_in_metres(worth):
    made = mapped(
        control_of(OFF, scale=1 / 0.3048),
        covariance=Covariance("exponential", 0.04, 500.0 / 0.3048),
        coordinate_unit_m=0.3048,
    )
    feet = worth_of(made, coordinate_unit_m=0.3048).wells.set_index("well")
    metres = worth.wells.set_index("well")
    for name in ("gradient_change_percent", "control_lost_percent", "direction_turn_degrees"):
        assert feet[name].to_dict() == pytest.approx(metres[name].to_dict(), rel=1e-6, abs=1e-6)


def test_a_well_without_which_the_others_make_no_surface_comes_last():
    """W0, W1 and W2 stand on one line, W3 beside it."""
    x, y = np.array([0.0, 100.0, 300.0, 120.0]), np.array([0.0, 50.0, 150.0, 200.0])
    made = mapped(control_of(np.array([40.0, 39.7, 39.4, 39.9]), x, y, np.full(4, 0.02)))
    rows = worth_of(made, candidates=1).wells
    last = rows.iloc[-1]
    assert rows["rank"].tolist() == [1, 2, 3, 4]
    assert (last["well"], last["control_lost_percent"]) == ("W3", 100.0)
    assert last["note"] == "without it the others make no surface"
    assert np.isnan([last["mean_change_m"], last["gradient_change_percent"], last["direction_turn_degrees"]]).all()
    assert rows["note"].tolist()[:3] == ["", "", ""]


def test_data_worth_is_refused_where_it_has_no_meaning():
    few = mapped(control_of(Z[:3], X[:3], Y[:3], WIDTHS[:3]))
    with pytest.raises(AnalysisError, match="With three wells none can be spared"):
        worth_of(few)
    river = River("Orle", shapely.LineString([(-50, 120), (500, 130)]), 40.0, 39.0)
    with pytest.raises(SettingsError, match="made from wells and gauges alone"):
        worth_of(mapped(control_of(), features=MapFeatures(rivers=(river,))))


# Two days side by side.


def pair_of(later, names=NAMES, first=NAMES, **options):
    rows = [(name, f"{DAY}T10:00", float(z), {}) for name, z in zip(NAMES, Z, strict=True) if name in first]
    rows += [(name, f"{LATER}T10:00", float(later[NAMES.index(name)]), {}) for name in names]
    table = levels(*rows).assign(finding="", review="provisional", event_id=range(len(rows)))
    site = wells(*[(name, a, b, {}) for name, a, b in zip(NAMES, X, Y, strict=True)])
    given = {"method": "spline", "grid_lines": 11, **options}
    return paired_maps_of(FrameRecord(table, site), "upper", (LATER, DAY), SetRule(loggers=False), **given)


def test_both_days_have_the_coarser_interval_and_planes_of_the_wells_of_both():
    later = 39.0 + 0.004 * X
    pair = pair_of(later, NAMES[1:], NAMES[:9])
    assert [drawn.date for drawn in pair.maps] == [DAY, LATER]
    assert [drawn.interval_m for drawn in pair.maps] == pytest.approx([0.2, 0.2])
    assert pair.common == tuple(NAMES[1:9])
    rows = np.arange(1, 9)
    planes = [plane(rows), plane(rows, later)]
    for gradient, (size, towards) in zip(pair.gradients, planes, strict=True):
        assert (gradient.magnitude, gradient.azimuth_deg) == pytest.approx((size, towards), rel=1e-9)
    assert pair.turn.angle_deg == pytest.approx((planes[1][1] - planes[0][1] + 180.0) % 360.0 - 180.0, abs=1e-6)
    assert np.isnan(pair.reversed_share)
    words = [f"{day} {gradient.text}" for day, gradient in zip((DAY, LATER), pair.gradients, strict=True)]
    assert pair.text == (f"{pair.turn.text} By the 8 wells and gauges used on both days: {words[0]}; {words[1]}.")
    assert [drawn.interval_m for drawn in pair_of(later, interval_m=0.5).maps] == [0.5, 0.5]


def test_wells_of_both_days_that_make_no_plane_are_said():
    pair = pair_of(39.0 + 0.004 * X, ["W0", "W1", "W2"])
    assert pair.text.startswith(pair.turn.text)
    words = "The wells used on both days make no plane, so the directions cannot be compared."
    assert replace(pair, turn=None).text == words
    assert replace(pair, gradients=None).text == words
    assert (
        " Here and there: over 25% of the common control the surfaces fall " in replace(pair, reversed_share=0.25).text
    )


def test_the_area_where_flow_is_reversed_beyond_doubt():
    """Later the surface rises to a crest at x = 150: west of it, flow is turned by about 180 degrees."""
    later = 40.0 - 0.004 * np.abs(X - 150.0)
    kept = [*NAMES[:9]]
    pair = pair_of(later, kept, method="kriging", covariance=Covariance("exponential", 1e-4, 500.0))
    first, second = (drawn.surface for drawn in pair.maps)
    x, y, area = hull_nodes(first.hull, 150)
    held = shapely.contains_xy(shapely.Polygon(second.hull), x, y)
    x, y, area = x[held], y[held], area[held]
    # differenced over a tenth of the longer side of the first control
    over = 0.1 * float(np.ptp(X))
    falls = [surface_slopes(surface, x, y, over_m=over) for surface in (first, second)]
    reversed_area = 0.0
    for k in range(len(x)):
        angle = abs((falls[1].azimuth_deg[k] - falls[0].azimuth_deg[k] + 180.0) % 360.0 - 180.0)
        width = np.hypot(falls[0].azimuth_half_width_deg[k], falls[1].azimuth_half_width_deg[k])
        if falls[0].determined[k] and falls[1].determined[k] and angle - width > 90.0:
            reversed_area += area[k]
    assert 0.0 < reversed_area < area.sum()
    assert pair.reversed_share == pytest.approx(reversed_area / area.sum(), rel=1e-9)
    assert f"over {pair.reversed_share:.0%} of the common control the surfaces fall" in pair.text


def test_methods_are_chosen_only_where_no_barrier_ends_inside():
    ending = MapFeatures(barriers=(shapely.LineString([(200, 100), (230, 150)]),))
    with pytest.raises(SettingsError, match="only kriging can go around its end"):
        mapped(control_of(), features=ending, method="auto")
    assert mapped(control_of(), method="auto").method in ("kriging", "spline", "triangulation")


def test_levels_on_the_wrong_side_of_a_contour_are_met_exactly_and_counted():
    """Half-widths of 20 cm let the surface pass the levels by, and contours 10 cm apart lie between."""
    rough = Z + 0.15 * np.sin(np.arange(10) * 2.4)
    made = mapped(control_of(rough, widths=np.full(10, 0.2)), interval_m=0.1)
    met = np.isclose(made.surface.predict(X, Y), rough, rtol=0.0, atol=1e-9)
    assert 0 < met.sum() < 10
    assert dict(made.parameters)["levels met exactly"] == str(met.sum())
    assert f"taken into account ({met.sum()} met exactly so that the contours honour them)." in made.method_text
    assert made.honour_failures == ()
    plain = mapped(control_of(), interval_m=20.0)
    assert dict(plain.parameters)["levels met exactly"] == "0"
    assert not np.isclose(plain.surface.predict(X, Y), Z, rtol=0.0, atol=1e-9).any()
    assert (plain.region, plain.cross_validation.n) == (None, 10)
