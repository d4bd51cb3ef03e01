"""Gradients, their uncertainty, and flow arrows; constructed numbers."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.gradients.horizontal import Departure, azimuth, flow_arrows, plane_gradient
from gwnet.hydro.gradients.limits import slope_limits
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.hull import inside
from gwnet.hydro.surfaces.variogram import Covariance

X, Y = np.random.default_rng(9).uniform(0, 500, (2, 12))


@pytest.mark.parametrize(
    ("slope", "towards"),
    [((0, -1), 0), ((-1, 0), 90), ((0, 1), 180), ((1, 0), 270), ((-1, -1), 45), ((1, -1), 315)],
)
def test_flow_runs_down_the_gradient(slope, towards):
    found = plane_gradient(X, Y, 10 + 0.001 * (slope[0] * X + slope[1] * Y), 0.005)
    assert found.azimuth_deg == pytest.approx(towards, abs=1e-6)
    assert found.magnitude == pytest.approx(0.001 * np.hypot(*slope), rel=1e-9)
    assert found.determined


def test_azimuth_stays_below_360():
    assert azimuth(-1e-300, 1.0) < 360.0
    assert float(azimuth(0.0, 0.0)) == 0.0


def test_three_points_by_hand():
    """Heads 10, 9 and 8 at the corners of a right angle, 100 m apart: slopes −0.01 and −0.02."""
    found = plane_gradient([0, 100, 0], [0, 0, 100], [10, 9, 8], 0.01)
    assert (found.method, found.n) == ("three points", 3)
    assert (found.slope_x, found.slope_y) == pytest.approx((-0.01, -0.02))
    assert found.azimuth_deg == pytest.approx(np.degrees(np.arctan2(1, 2)))
    assert found.residual_m == pytest.approx(np.zeros(3), abs=1e-12)
    assert np.isnan(found.residual_sd_m)


def test_half_width_by_hand():
    """A fall eastward between two pairs of wells 100 m apart, each ± 0.02 m and exactly on a plane: ± 0.02 / 100."""
    found = plane_gradient([0, 0, 100, 100], [0, 100, 0, 100], [10, 10, 9, 9], 0.02)
    assert found.magnitude == pytest.approx(0.01)
    assert found.magnitude_half_width == pytest.approx(0.02 / 100)
    # Fieller's arc: tan d = t s / sqrt(size² - t² s²) with t s = 0.0002, the same to either side
    arc = np.degrees(np.arctan(0.0002 / np.sqrt(0.01**2 - 0.0002**2)))
    assert (found.anticlockwise_deg, found.clockwise_deg) == pytest.approx((arc, arc))
    assert found.basis == "reading errors"


def test_half_width_covers_as_often_as_it_says():
    """Of 2,000 sets with normal errors, about 95 % of the half-widths of size and direction hold the truth."""
    random = np.random.default_rng(12)
    heads = 10 - 0.002 * X + 0.001 * Y
    width = 0.02
    truth = np.hypot(0.002, 0.001), float(azimuth(0.002, -0.001))
    held = []
    for _ in range(2000):
        found = plane_gradient(X, Y, heads + random.normal(0, width / 1.96, 12), width)
        off = (found.azimuth_deg - truth[1] + 180) % 360 - 180
        held.append(
            (
                abs(found.magnitude - truth[0]) <= found.magnitude_half_width,
                abs(off) <= found.azimuth_half_width_deg,
                found.determined,
            )
        )
    share = np.mean(held, axis=0)
    assert 0.94 < share[0] < 0.985
    assert 0.94 < share[1] < 0.985
    assert share[2] == 1.0


def test_flat_water_rarely_has_a_significant_gradient():
    """Flat water: at most about 5 % of sets have a significant gradient."""
    random = np.random.default_rng(13)
    significant = [plane_gradient(X, Y, random.normal(0, 0.01, 12), 0.0196).determined for _ in range(2000)]
    assert np.mean(significant) < 0.06


def test_a_fall_within_the_uncertainty_is_not_determined():
    found = plane_gradient([0, 100, 0], [0, 0, 100], [10.0, 10.005, 9.99], 0.02)
    assert not found.determined
    assert "within the uncertainty of the levels" in found.note
    assert found.text.startswith("no significant gradient: at most 0.0003")


def test_text_of_a_significant_gradient():
    found = plane_gradient([0, 100, 0], [0, 0, 100], [10.0, 10.0, 9.9], 0.01)
    assert found.text.startswith("0.0010 ± 0.0001 m/m towards 0° (351° to 8°); only the reading errors are known")


def test_text_of_levels_without_any_uncertainty():
    found = plane_gradient([0, 128, 0], [0, 0, 128], [10.0, 9.0, 10.0], 0.0)
    assert found.magnitude_half_width == 0.0
    assert found.text.startswith("0.007812 ± 0.000000 m/m towards 90°")


def test_flat_water_has_no_direction():
    found = plane_gradient([0, 100, 0], [0, 0, 100], [10, 10, 10], 0.01)
    assert (found.magnitude, found.azimuth_half_width_deg, found.determined) == (0.0, 180.0, False)


def test_without_uncertainty_three_points_determine_nothing():
    found = plane_gradient([0, 100, 0], [0, 0, 100], [10, 9, 8])
    assert not found.determined
    assert np.isnan(found.magnitude_half_width)
    assert found.note == "no uncertainty of the levels is known"


def test_without_uncertainty_the_misfit_stands_for_it():
    noisy = 10 - 0.002 * X + np.tile([0.01, -0.01], 6)
    found = plane_gradient(X, Y, noisy)
    assert found.determined
    assert found.basis == "residuals"


def test_limits_come_from_the_misfit_by_students_t():
    """Against ordinary least squares by hand: s² (XᵀX)⁻¹ with n - 3 = 9 degrees of freedom, t = 2.262."""
    curved = 10 - 0.002 * X + 1e-5 * (Y - 250) ** 2
    tight, loose = plane_gradient(X, Y, curved, 0.001), plane_gradient(X, Y, curved, 5.0)
    assert (tight.basis, loose.basis) == ("residuals", "reading errors")
    design = np.column_stack([np.ones(12), X, Y])
    slopes, square_sum, *_ = np.linalg.lstsq(design, curved)
    covariance = np.linalg.inv(design.T @ design)[1:, 1:] * float(square_sum[0]) / 9
    down = -slopes[1:] / np.hypot(*slopes[1:])
    assert tight.magnitude_half_width == pytest.approx(2.262157 * np.sqrt(down @ covariance @ down), rel=1e-6)
    assert tight.degrees == 9


def test_unknown_half_widths_take_the_median():
    widths = np.where(np.arange(12) < 2, np.nan, 0.02)
    found = plane_gradient(X, Y, 10 - 0.002 * X, widths)
    assert found.note.startswith("uncertainty not known at 2 of 12 wells")
    assert found.magnitude_half_width == plane_gradient(X, Y, 10 - 0.002 * X, 0.02).magnitude_half_width


def test_exact_levels_have_a_significant_gradient():
    found = plane_gradient([0, 100, 0], [0, 0, 100], [10, 9, 8], 0.0)
    assert found.determined
    assert found.magnitude_half_width == 0.0


@pytest.mark.parametrize(("widths", "error"), [(-0.1, AnalysisError), ([0.1, 0.2], ShapeError)])
def test_half_widths_must_make_sense(widths, error):
    with pytest.raises(error):
        plane_gradient(X, Y, X, widths)


def test_wells_are_named_in_errors():
    with pytest.raises(TooFewLevelsError, match="P1, P2"):
        plane_gradient([0, 1], [0, 1], [0, 1], names=["P1", "P2"])


@settings(max_examples=40, deadline=None)
@given(
    shift=st.tuples(st.floats(-1e6, 1e6), st.floats(-1e7, 1e7)),
    turn=st.floats(0, 359),
    lift=st.floats(-1000, 5000),
)
def test_moving_and_lifting_change_nothing_and_turning_turns_the_direction(shift, turn, lift):
    angle = np.radians(turn)
    heads = 10 - 0.003 * X + 0.001 * Y + 0.01 * np.sin(X)
    here = plane_gradient(X, Y, heads, 0.02)
    # A turn by an azimuth is clockwise.
    east, north = np.cos(angle) * X + np.sin(angle) * Y, np.cos(angle) * Y - np.sin(angle) * X
    there = plane_gradient(east + shift[0], north + shift[1], heads + lift, 0.02)
    assert there.magnitude == pytest.approx(here.magnitude, rel=1e-6)
    assert there.magnitude_half_width == pytest.approx(here.magnitude_half_width, rel=1e-5)
    assert (there.azimuth_deg - here.azimuth_deg - turn + 180) % 360 == pytest.approx(180, abs=1e-3)


def nowhere(x, y):
    return np.zeros(x.shape, dtype=bool)


def test_arrows_of_a_plane_point_down_it_and_stay_inside():
    surface = kriging.fit(X, Y, 10 - 0.002 * X, covariance=Covariance("spherical", 1.0, 300.0))
    arrows = flow_arrows(surface, nowhere, about=30)
    assert 8 <= len(arrows) <= 30
    for arrow in arrows:
        assert arrow.azimuth_deg == pytest.approx(90.0, abs=1e-4)
        assert arrow.gradient == pytest.approx(0.002, rel=1e-6)
        (tail_x, tail_y), (tip_x, tip_y) = arrow.ends
        assert tip_x - tail_x == pytest.approx(arrow.length_m)
        assert inside(surface.hull, [tail_x, tip_x], [tail_y, tip_y]).all()


def test_arrows_around_a_low_point_at_it():
    x, y = (values.ravel() for values in np.meshgrid(np.linspace(-100, 100, 9), np.linspace(-100, 100, 9)))
    surface = kriging.fit(x, y, 0.001 * (x**2 + y**2), covariance=Covariance("matern", 1.0, 200.0))
    for arrow in flow_arrows(surface, nowhere):
        if np.hypot(arrow.x, arrow.y) < 20.0:
            continue
        towards = float(azimuth(-arrow.x, -arrow.y))
        assert (arrow.azimuth_deg - towards + 180) % 360 == pytest.approx(180, abs=10)


def test_the_gradient_of_an_arrow_is_the_central_difference_over_half_the_spacing():
    """Of h = x³ that difference is 3 x² + (spacing/4)²."""
    hull = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 60.0], [0.0, 60.0]])
    surface = SimpleNamespace(hull=hull, predict=lambda x, y: x**3)
    arrows = flow_arrows(surface, nowhere, about=36)
    spacing = arrows[1].x - arrows[0].x
    assert spacing == pytest.approx(10.0)
    for arrow in arrows:
        assert arrow.gradient == pytest.approx(3.0 * arrow.x**2 + (spacing / 4.0) ** 2)


def test_no_arrow_where_the_fall_is_too_small():
    surface = kriging.fit(X, Y, 10 - 1e-5 * X, covariance=Covariance("spherical", 1.0, 300.0))
    assert flow_arrows(surface, nowhere, least_fall_m=0.01) == ()
    assert flow_arrows(surface, nowhere, least_fall_m=0.0)


def test_arrows_tell_where_they_are_inferred():
    surface = kriging.fit(X, Y, 10 - 0.002 * X, covariance=Covariance("spherical", 1.0, 300.0))
    arrows = flow_arrows(surface, lambda x, y: x > 250)
    assert {arrow.inferred for arrow in arrows} == {True, False}
    assert all(arrow.inferred == (arrow.x > 250) for arrow in arrows)


@pytest.mark.parametrize(("size", "determined"), [(1.9, False), (2.2, False), (2.5, True)])
def test_a_direction_needs_the_ellipse_of_both_components(size, determined):
    """With one standard error either way the 95 % ellipse ends at 2.448 = √(−2 ln 0.05), the half-width at 1.960."""
    limits = slope_limits(np.array([0.0, -size]), np.eye(2))
    assert (limits.size, limits.half_width) == pytest.approx((size, 1.959964))
    assert limits.azimuth_deg == pytest.approx(0.0)
    arc = np.degrees(np.arcsin(1.959964 / size)) if determined else 180.0
    assert (limits.anticlockwise_deg, limits.clockwise_deg) == pytest.approx((arc, arc), rel=1e-6)
    assert limits.is_significant == determined


def test_four_wells_on_a_square_have_no_significant_gradient():
    """50.10, 49.98, 50.00 and 49.90 m at the corners of a 400 m square, ± 5 mm each: F(2, 1) by hand is 101, p 0.07."""
    square = plane_gradient([0, 400, 0, 400], [0, 0, 400, 400], [50.10, 49.98, 50.00, 49.90], 0.005)
    # slopes (-0.11, -0.09) m over 400 m; one residual of ± 0.005 m at every corner, s = 0.01 m, standard error s/400
    assert square.residual_sd_m == pytest.approx(0.01)
    assert square.magnitude_half_width == pytest.approx(12.7062 * 0.01 / 400, rel=1e-5)
    assert not square.determined
    assert square.text.startswith("no significant gradient: at most 0.00067 m/m")


def test_three_wells_borrow_the_scale_of_more():
    corner = ([0, 100, 0], [0, 0, 100], [10.0, 10.0, 9.9])
    alone = plane_gradient(*corner, 0.01)
    with_others = plane_gradient(*corner, 0.01, departure=Departure(0.03, 7, "12 levels of 2024-05-03"))
    assert (alone.basis, with_others.basis) == ("reading errors", "borrowed")
    # the fall is the difference of two heads over 100 m: √2 sd/100, t with 7 degrees of freedom 2.3646
    assert with_others.magnitude_half_width == pytest.approx(2.364624 * np.sqrt(2) * 0.03 / 100, rel=1e-6)
    assert "12 levels of 2024-05-03" in with_others.note
