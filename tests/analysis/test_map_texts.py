"""The sentences and parameters of a map, whole, at the limits that decide on them; constructed surfaces."""

from types import SimpleNamespace

import numpy as np
import pytest

from gwnet.analysis.maps.features import MapFeatures, River
from gwnet.analysis.maps.result import Control, CrossValidation, MapFinding, MethodScore
from gwnet.analysis.maps.same_day import Span
from gwnet.analysis.maps.texts import (
    cautions_of,
    failures_of,
    feature_cautions,
    findings_of,
    half_width_text,
    has_wide_limits,
    length_text,
    median_half_width_m,
    method_text,
    parameters_of,
    trend_caution,
)
from gwnet.hydro.surfaces import kriging, quadratic, spline, triangulation
from gwnet.hydro.surfaces.contours import Unhonoured
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture
from gwnet.hydro.surfaces.outliers import NeighbourTest
from gwnet.hydro.surfaces.variogram import Covariance

#: Ten places over 400 m by 300 m, not on lines.
X = np.array([0.0, 400.0, 0.0, 400.0, 110.0, 230.0, 310.0, 90.0, 270.0, 150.0])
Y = np.array([0.0, 0.0, 300.0, 300.0, 80.0, 190.0, 120.0, 210.0, 40.0, 260.0])
Z = 40.0 - 0.002 * X + 0.001 * Y
LAST = (
    "Interpolated from levels at wells; between them it is an estimate. Interpretation and sign-off belong to a "
    "licensed professional; local rules govern."
)
ONE_DAY = Span(1.0, 1, 0, "")
SPHERICAL, EXPONENTIAL = Covariance("spherical", 0.09, 900.0), Covariance("exponential", 0.04, 300.0, 0.01)


def control_of(count=10, **more):
    names = [f"W{number}" for number in range(count)]
    levels = Control(names, X[:count], Y[:count], Z[:count], np.full(count, 0.02), 0, np.ones(count, dtype=bool))
    return SimpleNamespace(**{**vars(levels), **more})


def kriged(mixture=SPHERICAL, *, count=10, drift="linear"):
    return kriging.fit(X[:count], Y[:count], Z[:count], covariance=mixture, drift=drift)


@pytest.mark.parametrize(
    ("metres", "unit", "decimals", "text"),
    [
        (1.257, "m", 2, "1.26 m"),
        (1.257, "ft", 1, "4.1 ft"),  # 1.257 m are 4.124 ft of 0.3048 m
        (-0.001, "m", 2, "0.00 m"),
        (12.5, "m", 0, "12 m"),
    ],
)
def test_a_length_has_its_unit_and_no_sign_of_zero(metres, unit, decimals, text):
    assert length_text(metres, unit, decimals) == text


def test_findings_are_said_by_size_with_a_digit_less_from_ten_metres_on():
    residual = np.array([0.5, 10.0, -9.996, 0.1, -12.34])
    test = NeighbourTest(residual, np.full(5, 0.25), np.array([True, True, True, False, True]))
    found = findings_of(control_of(5), test, "m")
    words = [finding.text.split(" what its neighbours")[0] for finding in found]
    assert words == ["W4 is 12.3 m below", "W1 is 10.0 m above", "W2 is 10.00 m below", "W0 is 0.50 m above"]
    assert found[0].text == (
        "W4 is 12.3 m below what its neighbours suggest (leave-one-out); check its surveyed elevation, its reading and "
        "its aquifer before using this map."
    )
    assert [(finding.well, finding.residual_m, finding.limit_m) for finding in found[:2]] == [
        ("W4", -12.34, 0.25),
        ("W1", 10.0, 0.25),
    ]


def test_a_contour_on_the_wrong_side_is_said_at_the_well_or_about_it():
    failures = [Unhonoured(2, 40.3, 39.9, 40.0), Unhonoured(1, 40.25, 39.75, 40.0, around_m=15.0)]
    found = failures_of(control_of(3), failures, "m")
    assert [failure.text for failure in found] == [
        "W2 is posted at 40.30 m but drawn at 39.90 m, on the wrong side of the 40.00 m contour.",
        "W1 is posted at 40.25 m but drawn 15 m away at 39.75 m, on the wrong side of the 40.00 m contour: the surface "
        "jumps to its level.",
    ]
    assert (found[0].well, found[0].posted_m, found[0].drawn_m, found[0].contour_m) == ("W2", 40.3, 39.9, 40.0)


def mixture(degrees=9.0):
    return CovarianceMixture((SPHERICAL, EXPONENTIAL), (0.75, 0.25), degrees)


@pytest.mark.parametrize(
    ("surface", "fitted", "exact", "text"),
    [
        (spline.fit(X, Y, Z), 0, 0, "Thin-plate spline; levels taken as exact."),
        (triangulation.fit(X, Y, Z), 0, 0, "Linear interpolation on the triangles of Delaunay; levels taken as exact."),
        (
            quadratic.fit(X, Y, Z),
            0,
            0,
            "Quadratic trend surface by least squares, all levels alike; it does not pass through them.",
        ),
        (
            kriged(),
            0,
            2,
            "Universal kriging with a linear drift and spherical covariance, as given; the measurement error of each "
            "level is taken into account (2 met exactly so that the contours honour them).",
        ),
        (
            kriged(drift="none"),
            10,
            0,
            "Ordinary kriging and spherical covariance, fitted to 10 levels; the measurement error of each level is "
            "taken into account.",
        ),
        (
            kriged(mixture()),
            9,
            0,
            "Universal kriging with a linear drift, the mean over 2 covariances (spherical 75%, exponential 25%), each "
            "with the share that 9 levels give it; the measurement error of each level is taken into account.",
        ),
    ],
)
def test_how_a_surface_was_made(surface, fitted, exact, text):
    assert method_text(surface, fitted, exact) == text


def test_a_method_that_was_chosen_is_said_with_the_scores():
    scores = [MethodScore("spline", 0.3048, 8), MethodScore("kriging", 0.6096, 8)]
    text = method_text(spline.fit(X, Y, Z), 0, 0, scores=scores, unit="ft")
    assert text.endswith(" Chosen by leave-one-out error (rms over 8 levels): spline 1.000 ft, kriging 2.000 ft.")


def shown(surface, unit=("m", 1.0), *, n=10, against=0.0, exact=0):
    rule, checked = SimpleNamespace(farthest_m=100.0), CrossValidation(n, -0.125, 0.5, 0.5, None)
    return parameters_of(surface, rule, unit, checked=checked, against=against, exact=exact)


def test_parameters_of_a_kriged_surface():
    """The sill of 0.09 m² is 0.969 ft², the range of 900 units of 0.3048 m as many feet."""
    made = kriged(mixture())
    width = "half-width of the surface (95 %, median over the control)"
    assert shown(made, against=0.375, exact=3) == (
        ("drift", "linear"),
        ("covariance", "spherical, exponential"),
        ("partial sill", "0.04 m² to 0.09 m²"),
        ("range", "300 m to 900 m"),
        ("nugget", "0 m² to 0.01 m²"),
        ("degrees of freedom of the scale", "9"),
        (width, half_width_text(made, "m")),
        ("levels met exactly", "3"),
        ("difference from triangulation (rms)", "0.38 m"),
        ("leave-one-out error (rms)", "0.50 m at 10 levels"),
        ("leave-one-out mean error", "-0.12 m"),
        ("inferred beyond", "100 m from the nearest well"),
    )
    feet = dict(shown(kriged(), ("ft", 0.3048), n=0))
    assert (feet["partial sill"], feet["range"], feet["nugget"]) == ("0.969 ft²", "900 ft", "0 ft²")
    assert feet["leave-one-out error (rms)"] == "none: no level can be estimated from the others"
    assert feet["inferred beyond"] == "100 ft from the nearest well"
    assert "degrees of freedom of the scale" not in feet
    assert "difference from triangulation (rms)" not in feet


def test_the_formula_of_a_trend_surface_is_in_metres_from_a_round_place():
    """Heads 40 + 0.02 u - 0.01 v + 1e-4 u² + 2e-4 uv - 3e-4 v² with u, v in metres; coordinates in feet of 0.3048 m."""
    east, north = 196.0, 150.0
    u, v = (X - east) * 0.3048, (Y - north) * 0.3048
    heads = 40.0 + 0.02 * u - 0.01 * v + 1e-4 * u**2 + 2e-4 * u * v - 3e-4 * v**2
    assert (round(X.mean()), round(Y.mean())) == (east, north)
    found = shown(quadratic.fit(X, Y, heads), ("m", 0.3048))
    assert [name for name, _ in found] == [
        "head in metres",
        "residual standard deviation",
        "degrees of freedom",
        "share of the variance explained",
        "half-width of the surface (95 %, median over the control)",
        "leave-one-out error (rms)",
        "leave-one-out mean error",
        "inferred beyond",
    ]
    assert dict(found)["head in metres"] == (
        "40.000 +0.02 x -0.01 y +0.0001 x² +0.0002 xy -0.0003 y², x and y in metres from easting 196 and northing 150"
    )
    assert [value for _, value in found[1:4]] == ["0.00 m", "4", "100.0%"]


@pytest.mark.parametrize(
    ("drift", "degrees", "wide"),
    [("linear", 1.0, True), ("linear", 2.0, False), ("none", 3.0, True), ("none", 4.0, False)],
)
def test_limits_by_fewer_than_five_levels_are_very_wide(drift, degrees, wide):
    """A plane takes three degrees of freedom of the levels, a constant one."""
    made = kriged(CovarianceMixture((SPHERICAL,), (1.0,), degrees), drift=drift)
    assert has_wide_limits(made) == wide
    assert half_width_text(made, "m").endswith(" (very wide: 10 levels)") == wide
    assert not has_wide_limits(triangulation.fit(X, Y, Z))


def test_the_half_width_of_a_surface_is_the_usual_one_over_its_control():
    corners = np.array([[0.0, 0.0], [400.0, 0.0], [400.0, 300.0]])
    flat = SimpleNamespace(hull=corners, z=Z, standard_error=lambda x, y: np.full(np.shape(x), 0.5))
    assert median_half_width_m(flat) == pytest.approx(0.5 * 1.959963984540054, rel=1e-12)
    assert half_width_text(flat, "m") == "0.98 m"
    unknown = SimpleNamespace(hull=corners, z=Z, standard_error=lambda x, y: np.full(np.shape(x), np.inf))
    assert half_width_text(unknown, "m") == "not known from three levels"


def said(count=10, span=ONE_DAY, *, control=None, surface=None, **more):
    """Return the cautions of a map of so many levels but the last, which every map has."""
    levels = control_of(count) if control is None else control
    surface = triangulation.fit(X[:count], Y[:count], Z[:count]) if surface is None else surface
    given = {"findings": (), "gradients": (SimpleNamespace(text="falls"), None), "unit": "m"}
    given |= {"screen_lengths_m": np.array([])} | more
    *texts, last = cautions_of(levels, surface, span, **given)
    assert last == LAST
    return texts


UNSEARCHED = "Too few levels to find one that does not fit its neighbours; 6 are needed."


@pytest.mark.parametrize(
    ("count", "texts"),
    [
        (4, ["Only 4 levels: contours are inferred throughout.", UNSEARCHED]),
        (5, ["A scattered few: 5 levels, one in a square of 155 m on the mean", UNSEARCHED]),
        (6, ["A scattered few: 6 levels, one in a square of 141 m on the mean"]),
        (9, ["A scattered few: 9 levels, one in a square of 115 m on the mean"]),
        (10, []),
    ],
)
def test_few_levels_are_a_caution(count, texts):
    """The first four wells span 400 by 300 m: the root of 120,000 m² over the number of wells."""
    found = said(count)
    assert [text.removesuffix("; another well may change the contours.") for text in found] == texts


def test_limits_that_are_very_wide_are_said_of_few_levels():
    made = kriged(CovarianceMixture((SPHERICAL,), (1.0,), 1.0), count=4)
    assert said(4, surface=made)[0] == (
        "Only 4 levels: contours are inferred throughout, and the limits of the surface are very wide."
    )


def test_rivers_are_not_counted_among_the_levels():
    measured = np.arange(10) < 4
    assert said(control=control_of(measured=measured))[0].startswith("Only 4 levels: ")


@pytest.mark.parametrize(
    ("span", "texts"),
    [
        (ONE_DAY, []),
        (
            Span(1.0, 2, 0, ""),
            ["The levels were not taken on one day but over 2 days; heads may have moved meanwhile."],
        ),
        (Span(1.0, 1, 1, ""), ["The time of day is not known for 1 of 10 levels."]),
    ],
)
def test_the_time_of_the_levels_is_a_caution(span, texts):
    assert said(span=span) == texts


def test_uncertainties_that_were_taken_and_further_sentences_are_said():
    assert said(control=control_of(assumed=3), more=["Of the river.", "", "Of the base."]) == [
        "No uncertainty is on record for 3 of 10 levels; ± 0.03 m was taken.",
        "Of the river.",
        "Of the base.",
    ]


def test_the_gradient_without_the_findings_is_said_where_there_is_one():
    found = (MapFinding("A", 1.0, 0.5, ""), MapFinding("B", 1.0, 0.5, ""))
    both = (SimpleNamespace(text="0.01 m/m"), SimpleNamespace(text="0.002 m/m"))
    assert said(findings=found, gradients=both) == ["Gradient with A, B: 0.01 m/m. Without: 0.002 m/m."]
    assert said(findings=found, gradients=(both[0], None)) == []
    assert said(gradients=both) == []


@pytest.mark.parametrize(
    ("lengths", "text"),
    [
        ([0.5, 1.5], ""),  # three times as long and no more
        ([0.5, 1.5625], "The screens are 0.5 m to 1.6 m long; long ones average the heads of what they are open to."),
        ([4.0, 0.0, np.nan, 12.0], ""),
        ([4.0, 0.25], "The screens are 0.2 m to 4.0 m long; long ones average the heads of what they are open to."),
        ([9.0, 0.0], ""),
        ([9.0], ""),
    ],
)
def test_screens_more_than_three_times_as_long_as_others_are_a_caution(lengths, text):
    assert said(screen_lengths_m=np.array(lengths)) == ([text] if text else [])


@pytest.mark.parametrize(
    ("lowest", "highest", "beyond"),
    [(39.0, 41.5, False), (38.75, 41.5, True), (39.0, 41.75, True), (38.75, 41.75, True)],
)
@pytest.mark.parametrize(("sign", "where"), [(1.0, "above"), (-1.0, "below")])
def test_a_trend_surface_is_off_the_levels_and_may_run_beyond_them(lowest, highest, beyond, sign, where):
    """Levels from 39.5 to 41 m and an interval of half a metre: the surface may run from 39 to 41.5 m."""
    heads = 40.25 + sign * np.array([-0.75, 0.75, 0.0, 0.25, 0.625, 0.0, -0.25, 0.0, 0.5, 0.0])
    surface = quadratic.fit(X, Y, heads)
    design = np.column_stack([np.ones(10), X, Y, X**2, X * Y, Y**2]) / [1, 1e2, 1e2, 1e4, 1e4, 1e4]
    off = heads - design @ np.linalg.lstsq(design, heads, rcond=None)[0]
    most = int(np.argmax(np.abs(off)))
    assert off[most] * sign > 0.0
    grid = SimpleNamespace(water_elevation_m=np.array([[lowest, np.nan], [40.0, highest]]))
    text = trend_caution(control_of(z=heads), surface, grid, interval_m=0.5, unit="m")
    expected = (
        f"The trend surface does not pass through the levels: they are off it by {np.sqrt(np.mean(off**2)):.2f} m (root "
        f"mean square), most at W{most}, {abs(off[most]):.2f} m {where}."
    )
    if beyond:
        expected += f" It runs from {lowest:.2f} m to {highest:.2f} m, beyond the levels (39.50 m to 41.00 m)."
    assert text == expected
    assert trend_caution(control_of(), spline.fit(X, Y, Z), grid, interval_m=0.5, unit="m") == ""


def test_barriers_rivers_and_sources_are_said():
    sides = [SimpleNamespace(positions=np.arange(count), barriers=None) for count in (6, 3)]
    ending = SimpleNamespace(positions=np.arange(4), barriers=object())
    rivers = MapFeatures(rivers=(River("Orle", None), River("Vell", None)), sources=("a drawing", "a survey"))
    levels = control_of(measured=np.arange(10) < 7)
    assert feature_cautions([*sides, ending], rivers, levels) == [
        "Barriers divide the control into 3 compartments with 6 and 3 and 4 levels, each contoured by itself; the "
        "gradient is that of one plane over all of them.",
        "Where a barrier ends inside the control, distances go around its end.",
        "Heads along Orle, Vell enter at 3 points as stated or interpolated, not as measured there.",
        "Features: a drawing; a survey.",
    ]
    assert len(feature_cautions(sides, MapFeatures(), control_of())) == 1
    assert feature_cautions(sides[:1], MapFeatures(), control_of()) == []
