"""Every field of a gradient worked out anew with numpy and scipy, its notes and texts, and the limits of its rules."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import optimize, special, stats
from scipy.spatial import Delaunay

from gwnet.errors import AnalysisError
from gwnet.hydro.gradients.horizontal import Departure, FlowArrow, Gradient, flow_arrows, plane_gradient
from gwnet.hydro.gradients.limits import slope_limits
from gwnet.hydro.gradients.local import local_gradients, surface_slopes, triangle_gradient
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.variogram import Covariance

X = np.array([450_010.0, 450_230.0, 450_120.0, 450_340.0, 450_055.0, 450_290.0])
Y = np.array([5_300_020.0, 5_300_040.0, 5_300_250.0, 5_300_310.0, 5_300_170.0, 5_300_160.0])
#: Off a plane by up to some centimetres.
HEADS = 412.0 - 0.004 * (X - 450_000) + 0.003 * (Y - 5_300_000) + np.array([0.03, -0.04, -0.02, 0.05, 0.04, -0.03])

ONLY_READING = "only the reading errors are known: three wells say nothing of how far heads lie off a plane"
WITHIN_READING = "the fall of head is within the uncertainty of the levels"
WITHIN_MISFIT = "the fall of head is within what the levels' misfit to a plane leaves open"
BORROWED = "three wells say nothing of how far heads lie off a plane; taken from 12 levels"


def limits_by_hand(slopes, covariance, student):
    """Return size, half-width, azimuth and both reaches of the arc: roots of (pᵀg)² = t² pᵀSp (Fieller, 1954)."""
    size = float(np.hypot(*slopes))
    down = -np.asarray(slopes) / size
    turned = math.atan2(down[0], down[1])

    def excess(turn):
        across = np.array([math.cos(turned + turn), -math.sin(turned + turn)])
        return (across @ slopes) ** 2 - student**2 * across @ covariance @ across

    quarter = math.pi / 2
    reaches = [-optimize.brentq(excess, -quarter, 0, xtol=1e-15), optimize.brentq(excess, 0, quarter, xtol=1e-15)]
    half_width = student * math.sqrt(down @ covariance @ down)
    return size, half_width, math.degrees(turned) % 360, *map(math.degrees, reaches)


def plane_by_hand(x, y, heads):
    """Return slopes, residuals and the covariance of the slopes for heads of variance 1, by the normal equations."""
    east, north = x - np.mean(x), y - np.mean(y)
    design = np.column_stack([np.ones(len(x)), east, north])
    inverse = np.linalg.inv(design.T @ design)
    values = inverse @ design.T @ (heads - np.mean(heads))
    return values[1:], heads - np.mean(heads) - design @ values, inverse[1:, 1:]


@pytest.mark.parametrize(
    ("wells", "half_width", "departure", "basis", "sd", "degrees", "note"),
    [
        (6, None, None, "residuals", None, 3, ""),
        (6, 0.001, Departure(9.0, 4, "12 levels"), "residuals", None, 3, ""),
        # one without an error: nothing to compare the residuals with
        (6, [0.0, 0.3, 0.3, 0.3, 0.3, 0.3], None, "residuals", None, 3, ""),
        (6, [np.nan, 0.001, 0.001, 0.001, 0.001, 0.001], None, "residuals", None, 3, ""),
        (
            6,
            0.4,
            None,
            "reading errors",
            0.4 / 1.959963984540054,
            math.inf,
            "the levels lie closer to a plane than their reading errors, which are used in place of the misfit",
        ),
        (3, 0.02, None, "reading errors", 0.02 / 1.959963984540054, math.inf, ONLY_READING),
        (3, 0.02, Departure(0.03, 9, "12 levels"), "borrowed", 0.03, 9, BORROWED),
        (
            3,
            None,
            Departure(0.03, 9, "12 levels"),
            "borrowed",
            0.03,
            9,
            f"no uncertainty of the levels is known; {BORROWED}",
        ),
    ],
)
def test_every_field_of_a_plane(wells, half_width, departure, basis, sd, degrees, note):
    x, y, heads = X[:wells], Y[:wells], HEADS[:wells]
    found = plane_gradient(x, y, heads, half_width, departure=departure)
    slopes, residual, inverse = plane_by_hand(x, y, heads)
    own_sd = math.sqrt(residual @ residual / (wells - 3)) if wells > 3 else math.nan
    student = stats.norm.ppf(0.975) if math.isinf(degrees) else stats.t.ppf(0.975, degrees)
    size, width, azimuth_deg, anticlockwise, clockwise = limits_by_hand(
        slopes, inverse * (own_sd if sd is None else sd) ** 2, student
    )
    assert (found.method, found.n, found.basis) == ("three points" if wells == 3 else "plane fit", wells, basis)
    assert (found.degrees, found.note, found.determined) == (degrees, note, True)
    assert (found.slope_x, found.slope_y) == pytest.approx(tuple(slopes), rel=1e-8)
    assert (found.mean_head_m, found.centre_x, found.centre_y) == (
        pytest.approx(heads.mean(), rel=1e-14),
        pytest.approx(x.mean(), rel=1e-14),
        pytest.approx(y.mean(), rel=1e-14),
    )
    assert (found.magnitude, found.magnitude_half_width) == pytest.approx((size, width), rel=1e-7)
    assert found.azimuth_deg == pytest.approx(azimuth_deg, rel=1e-8)
    assert (found.anticlockwise_deg, found.clockwise_deg) == pytest.approx((anticlockwise, clockwise), rel=1e-6)
    assert found.azimuth_half_width_deg == max(found.anticlockwise_deg, found.clockwise_deg)
    assert found.upper_limit == found.magnitude + found.magnitude_half_width
    assert found.residual_m == pytest.approx(residual, abs=1e-9)
    assert found.residual_sd_m == pytest.approx(own_sd, rel=1e-6, nan_ok=True)
    lent = found.departure
    if basis == "residuals":
        assert (lent.sd_m, lent.degrees, lent.source) == (found.residual_sd_m, wells - 3, f"{wells} levels")
    else:
        assert lent is None


def test_a_well_without_a_half_width_takes_the_median_of_the_others():
    """Half-widths 0.01, 0.02 and 0.06 m of four wells: the fourth takes 0.02; mean variance (1 + 4 + 36 + 4)/4 cm²."""
    x, y, heads = [0, 100, 0, 100], [0, 0, 100, 100], [10.0, 9.0, 10.0, 9.0]
    found = plane_gradient(x, y, heads, [0.01, 0.02, 0.06, np.nan])
    variances = np.array([1.0, 4.0, 36.0, 4.0]) * 1e-4
    # the slope eastward is half the sum of two differences over 100 m
    assert found.magnitude_half_width == pytest.approx(math.sqrt(variances.sum()) / 200.0, rel=1e-9)
    assert found.note == (
        "uncertainty not known at 1 of 4 wells; "
        "the levels lie closer to a plane than their reading errors, which are used in place of the misfit"
    )


@pytest.mark.parametrize(("share", "basis"), [(0.049, "reading errors"), (0.051, "residuals")])
def test_residuals_give_way_where_reading_errors_leave_larger_ones_in_95_of_100_sets(share, basis):
    """Chi-squared with 1 degree of freedom of `scipy.stats`; ± 0.01 m at the corners of a square."""
    heads = np.array([10.01, 8.99, 9.99, 9.01])
    sd = math.sqrt(4 * 0.01**2 / stats.chi2.ppf(share, 1))
    assert plane_gradient([0, 100, 0, 100], [0, 0, 100, 100], heads, sd * 1.959963984540054).basis == basis


@pytest.mark.parametrize(("share", "determined"), [(0.03, False), (0.024, True)])
def test_a_borrowed_scale_needs_significance_at_two_and_a_half_per_cent(share, determined):
    """Wells at an equilateral triangle have a round covariance; F(2, 9) at 3 and 2.4 %, from `scipy.stats`."""
    x, y = np.array([0.0, 200.0, 100.0]), np.array([0.0, 0.0, 100.0 * math.sqrt(3)])
    sd = 0.05
    _, _, inverse = plane_by_hand(x, y, x)
    slope = sd * math.sqrt(inverse[0, 0] * 2 * stats.f.isf(share, 2, 9))
    found = plane_gradient(x, y, 20 - slope * x, departure=Departure(sd, 9, "12 levels"))
    assert found.determined is determined
    assert found.magnitude > found.magnitude_half_width
    within = "the fall of head is within what the misfit of a plane leaves open there"
    assert found.note == f"no uncertainty of the levels is known; {BORROWED}" + ("" if determined else f"; {within}")


@pytest.mark.parametrize(
    ("heads", "half_width", "note"),
    [
        ([50.10, 49.98, 50.00, 49.90], 0.005, WITHIN_MISFIT),
        ([50.00, 49.99, 50.00, 49.99], 0.05, WITHIN_READING),
        ([50.10, 49.98, 50.00, 49.90], None, WITHIN_MISFIT),
    ],
)
def test_why_a_gradient_is_not_significant(heads, half_width, note):
    found = plane_gradient([0, 400, 0, 400], [0, 0, 400, 400], heads, half_width)
    assert (found.determined, found.note) == (False, note)
    assert found.text == f"no significant gradient: at most {found.upper_limit:.2g} m/m; {note}"


def gradient(magnitude, half_width, azimuth_deg=90.0, reaches=(10.0, 10.0), basis="residuals", note="", **more):
    numbers = dict.fromkeys(("slope_x", "slope_y", "mean_head_m", "centre_x", "centre_y", "residual_sd_m"), 0.0)
    given = {"determined": True, "degrees": 3.0, **more}
    return Gradient(
        method="plane fit",
        n=6,
        magnitude=magnitude,
        magnitude_half_width=half_width,
        azimuth_deg=azimuth_deg,
        anticlockwise_deg=reaches[0],
        clockwise_deg=reaches[1],
        residual_m=np.zeros(6),
        basis=basis,
        note=note,
        **numbers,
        **given,
    )


@pytest.mark.parametrize(
    ("found", "text"),
    [
        (gradient(0.01234, 0.00219), "0.012 ± 0.002 m/m towards 90° (80° to 100°)"),
        (gradient(0.01234, 0.00219, note="x"), "0.012 ± 0.002 m/m towards 90° (80° to 100°)"),
        (gradient(0.01234, 0.00219, note="x", basis="borrowed"), "0.012 ± 0.002 m/m towards 90° (80° to 100°)"),
        (
            gradient(0.01234, 0.00219, note="x", basis="reading errors"),
            "0.012 ± 0.002 m/m towards 90° (80° to 100°); x",
        ),
        # rounded outward, and past north
        (gradient(0.01234, 0.0219, 359.7, (4.2, 8.9)), "0.01 ± 0.02 m/m towards 0° (355° to 9°)"),
        (gradient(0.01234, 0.0219, 3.4, (5.5, 8.9)), "0.01 ± 0.02 m/m towards 3° (357° to 13°)"),
        (gradient(34.2, 2.7), "34 ± 3 m/m towards 90° (80° to 100°)"),
        (gradient(0.5, 0.0), "0.500000 ± 0.000000 m/m towards 90° (80° to 100°)"),
        (gradient(0.01234, math.nan, 359.7, note="x"), "the plane falls 0.012 m/m towards 0°; x"),
        (gradient(0.01234, math.nan, 359.2, note="x"), "the plane falls 0.012 m/m towards 359°; x"),
        (gradient(0.0123, 0.0215, note="x", determined=False), "no significant gradient: at most 0.034 m/m; x"),
    ],
)
def test_a_gradient_in_words(found, text):
    assert found.text == text


def test_ends_of_an_arrow():
    """Half of 10 m to either side, 30° east of north: 2.5 m east and 5 √3/2 m north."""
    tail, tip = FlowArrow(7.0, 3.0, 30.0, 0.01, False, 10.0).ends
    north = 5.0 * math.sqrt(3) / 2
    assert tail == pytest.approx((4.5, 3.0 - north))
    assert tip == pytest.approx((9.5, 3.0 + north))


def slope_of(east, north):
    hull = np.array([[10.0, 20.0], [60.0, 20.0], [60.0, 28.0], [10.0, 28.0]])
    return SimpleNamespace(hull=hull, predict=lambda x, y: 5.0 + east * x + north * y)


def no_place(x, y):
    return np.zeros(x.shape, dtype=bool)


def test_arrows_of_a_narrow_field_stand_in_one_row_in_its_middle():
    """50 m by 8 m and 4 arrows: one per 100 m², so 10 m apart, five in one row; each 6 m long."""
    arrows = flow_arrows(slope_of(-0.03, 0.0), lambda x, y: x > 33.0, about=4)
    assert [(arrow.x, arrow.y) for arrow in arrows] == [(15, 24), (25, 24), (35, 24), (45, 24), (55, 24)]
    assert [arrow.inferred for arrow in arrows] == [False, False, True, True, True]
    for arrow in arrows:
        assert (arrow.azimuth_deg, arrow.gradient, arrow.length_m) == (
            pytest.approx(90.0),
            pytest.approx(0.03),
            pytest.approx(6.0),
        )
    towards = flow_arrows(slope_of(0.03, 0.01), no_place, about=4)
    assert towards[0].azimuth_deg == pytest.approx(180 + math.degrees(math.atan(3.0)))
    assert towards[0].gradient == pytest.approx(math.hypot(0.03, 0.01))


def test_arrows_go_from_south_to_north_and_each_row_from_west_to_east():
    hull = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]])
    surface = SimpleNamespace(hull=hull, predict=lambda x, y: 0.2 * x + 0.0 * y)
    places = [(arrow.x, arrow.y) for arrow in flow_arrows(surface, no_place, about=6)]
    assert places == [(5, 5), (15, 5), (25, 5), (5, 15), (15, 15), (25, 15)]


@pytest.mark.parametrize(
    ("fall_m", "arrows"), [(0.29, 5), (0.31, 0), (0.0, 5), (-1.0, 5)], ids=["less", "more", "none", "negative"]
)
def test_arrows_need_a_fall_over_their_spacing(fall_m, arrows):
    """The surface falls 0.3 m over the spacing of 10 m."""
    assert len(flow_arrows(slope_of(-0.03, 0.0), no_place, about=4, least_fall_m=fall_m)) == arrows


def test_level_water_has_no_arrows():
    assert flow_arrows(slope_of(0.0, 0.0), no_place, about=4) == ()


#: By the lower tail, as special.ndtri is exact there to the last digit: a size may then equal its half-width.
STUDENT = -float(special.ndtri(0.025))


@pytest.mark.parametrize(
    ("across", "along", "mixed", "size", "significant"),
    [
        # 1.333 size² against -2 ln 0.05 = 5.991
        (1.0, 1.0, 0.5, 2.00, False),
        (1.0, 1.0, 0.5, 2.15, True),
        (3.0, 0.3, math.sqrt(0.2), 1.97 * math.sqrt(0.3), False),
        # no inverse: the size alone decides, and must exceed its half-width
        (0.0, 1.0, 0.0, STUDENT, False),
        (0.0, 1.0, 0.0, STUDENT * (1 + 1e-9), True),
        (4.0, 1.0, 2.0, STUDENT * 1.01, True),
    ],
)
def test_significance_by_the_joint_limits_and_by_the_size(across, along, mixed, size, significant):
    limits = slope_limits(np.array([0.0, -size]), np.array([[across, mixed], [mixed, along]]))
    assert limits.is_significant is significant
    assert limits.half_width == pytest.approx(STUDENT * math.sqrt(along), rel=1e-12)
    if not significant:
        assert (limits.anticlockwise_deg, limits.clockwise_deg) == (180.0, 180.0)


@pytest.mark.parametrize("level", [0.01, 0.025, 0.2])
@pytest.mark.parametrize("degrees", [2, 7, math.inf])
def test_the_level_of_the_test_is_that_asked_for(level, degrees):
    edge = stats.chi2.isf(level, 2) if math.isinf(degrees) else 2 * stats.f.isf(level, 2, degrees)
    student = float(STUDENT if math.isinf(degrees) else stats.t.ppf(0.975, degrees))
    for factor in (0.9999, 1.0001):
        size = math.sqrt(edge) * factor
        found = slope_limits(np.array([size, 0.0]), np.eye(2), degrees, level=level)
        assert found.is_significant is (factor > 1.0 and size > student)
        assert found.upper_limit == pytest.approx(size + student, rel=1e-12)


def test_level_water_may_fall_along_the_widest_axis():
    """Variances 0.04 and 0.01 along axes turned by 30°: the wider standard error is 0.2."""
    turn = np.array([[math.cos(0.5), -math.sin(0.5)], [math.sin(0.5), math.cos(0.5)]])
    limits = slope_limits(np.zeros(2), turn @ np.diag([0.04, 0.01]) @ turn.T)
    assert (limits.size, limits.is_significant, limits.anticlockwise_deg, limits.clockwise_deg) == (0, False, 180, 180)
    assert limits.half_width == pytest.approx(STUDENT * 0.2, rel=1e-12)


@pytest.mark.parametrize(("east", "north", "azimuth_deg"), [(1e-300, -1.0, 0.0), (1.0, 0.0, 270.0), (0.0, 1.0, 180.0)])
def test_azimuths_are_below_360(east, north, azimuth_deg):
    limits = slope_limits(np.array([east, north]), None)
    assert (limits.azimuth_deg, limits.is_significant) == (azimuth_deg, False)
    assert math.isnan(limits.half_width + limits.anticlockwise_deg + limits.clockwise_deg)


def test_three_nearest_wells_borrow_the_misfit_of_all():
    """Positions, neighbours nearest first, reach and plane of each well, sought by a loop."""
    found = local_gradients(X, Y, HEADS, 0.001, nearest=2)
    whole = plane_gradient(X, Y, HEADS, 0.001).departure
    for position, one in enumerate(found):
        order = sorted(range(6), key=lambda other: math.hypot(X[other] - X[position], Y[other] - Y[position]))[:3]
        assert (one.position, one.neighbours) == (position, tuple(order[1:]))
        assert one.reach == pytest.approx(math.hypot(X[order[2]] - X[position], Y[order[2]] - Y[position]), rel=1e-12)
        plane = plane_gradient(X[order], Y[order], HEADS[order], 0.001, departure=whole)
        assert one.plane.basis == "borrowed"
        assert (one.plane.text, one.plane.degrees) == (plane.text, 3.0)


def test_each_well_keeps_its_own_half_width_in_local_planes():
    widths = np.array([3.0, 9.0, 4.0, 8.0, 5.0, 7.0])
    (one, *_) = local_gradients(X, Y, HEADS, widths, nearest=3)
    order = [one.position, *one.neighbours]
    alone = plane_gradient(X[order], Y[order], HEADS[order], widths[order])
    assert (one.plane.basis, one.plane.text) == ("reading errors", alone.text)
    assert len(local_gradients(X, Y, HEADS, nearest=9)[0].neighbours) == 5
    assert local_gradients(X, Y, HEADS, nearest=9)[0].plane.basis == "residuals"


def test_neighbours_in_a_band_narrower_than_a_thousandth_of_its_length_give_no_plane():
    for off, is_plane in ((0.19, False), (0.21, True)):
        x, y = np.array([0.0, 100.0, 200.0, 9000.0]), np.array([0.0, off, 0.0, 9000.0])
        assert (local_gradients(x, y, [10.0, 9.9, 9.8, 9.0], nearest=2)[0].plane is not None) is is_plane


def test_slopes_of_a_surface_are_differences_with_the_error_of_differences():
    """Universal kriging solved as one system by numpy; the error of the two differences by its weights."""
    x, y, z = X - 450_000, Y - 5_300_000, HEADS
    covariance = Covariance("exponential", 0.004, 300.0)
    surface = kriging.fit(x, y, z, covariance=covariance)

    def between(first, second):
        apart = np.hypot(first[:, None, 0] - second[None, :, 0], first[:, None, 1] - second[None, :, 1])
        return 0.004 * np.exp(-3.0 * apart / 300.0)

    wells = np.column_stack([x, y])
    drift = np.column_stack([np.ones(6), wells])
    system = np.block([[between(wells, wells), drift], [drift.T, np.zeros((3, 3))]])
    at = np.array([[150.0, 180.0], [190.0, 180.0], [170.0, 160.0], [170.0, 200.0]])
    right = np.hstack([between(at, wells), np.ones((4, 1)), at])
    weights = np.linalg.solve(system, right.T)
    contrast = np.array([[-1.0, 1.0, 0.0, 0.0], [0.0, 0.0, -1.0, 1.0]]) / 40.0
    slopes = contrast @ weights[:6].T @ z
    error = contrast @ (between(at, at) - right @ weights) @ contrast.T
    found = surface_slopes(surface, [170.0], [180.0], over_m=40.0)
    limits = slope_limits(slopes, error)
    assert found.magnitude[0] == pytest.approx(limits.size, rel=1e-8)
    assert found.magnitude_half_width[0] == pytest.approx(limits.half_width, rel=1e-7)
    assert found.azimuth_deg[0] == pytest.approx(limits.azimuth_deg, rel=1e-8)
    assert limits.is_significant
    assert found.determined.tolist() == [True]
    larger = max(limits.anticlockwise_deg, limits.clockwise_deg)
    assert min(limits.anticlockwise_deg, limits.clockwise_deg) < 0.9999 * larger
    assert found.azimuth_half_width_deg[0] == pytest.approx(larger, rel=1e-6)


@pytest.mark.parametrize("over_m", [-20.0, math.nan])
def test_a_distance_of_no_size_is_named(over_m):
    surface = kriging.fit([0, 9, 0, 9], [0, 0, 9, 9], [1, 2, 3, 5], covariance=Covariance("exponential", 1.0, 9.0))
    with pytest.raises(AnalysisError, match=f"greater than 0, not {over_m:g} m"):
        surface_slopes(surface, [1.0], [1.0], over_m=over_m)


def test_triangles_count_by_area_and_flat_ones_not_at_all():
    """Each triangle's plane by numpy, the median by going through them; nearly flat ones lie along the southern edge."""
    x = np.array([0.0, 100.0, 200.0, 300.0, 20.0, 150.0, 290.0, 60.0, 240.0, 130.0])
    y = np.array([0.0, 6.0, 8.0, 0.0, 130.0, 110.0, 140.0, 260.0, 270.0, 210.0])
    z = 10 + 0.004 * x - 0.006 * y + 0.00003 * x * y - 0.00002 * y**2
    kept = []
    flat = 0
    for corners in Delaunay(np.column_stack([x, y])).simplices:
        at = np.column_stack([x[corners], y[corners]])
        longest = max(math.dist(at[i], at[j]) for i, j in ((0, 1), (1, 2), (2, 0)))
        area = abs(np.linalg.det(np.column_stack([np.ones(3), at]))) / 2
        if 2 * area / longest < 0.1 * longest:
            flat += 1
            continue
        kept.append((*np.linalg.solve(np.column_stack([np.ones(3), at]), z[corners])[1:], area))
    assert flat == 2

    values = np.array(kept)
    areas = values[:, 2]

    def median(slopes):
        order = np.argsort(slopes)
        return slopes[order][np.cumsum(areas[order]) > areas.sum() / 2][0]

    east, north = median(values[:, 0]), median(values[:, 1])
    found = triangle_gradient(x + 4.5e5, y + 5.3e6, z)
    assert found.n == len(kept)
    assert found.magnitude == pytest.approx(math.hypot(east, north), rel=1e-8)
    assert found.azimuth_deg == pytest.approx(math.degrees(math.atan2(-east, -north)) % 360, rel=1e-8)


def test_the_median_of_two_triangles_of_one_area_is_their_mean():
    """A kite: eastward slopes -0.008 and -0.003, northward -0.01 in both."""
    found = triangle_gradient([0.0, 100.0, 100.0, 200.0], [0.0, -20.0, 20.0, 0.0], [10.0, 9.4, 9.0, 8.9])
    assert (found.n, found.magnitude) == (2, pytest.approx(math.hypot(0.0055, 0.01), rel=1e-9))


@pytest.mark.parametrize(("height", "n"), [(8.9, 0), (9.0, 1), (9.1, 1)])
def test_a_triangle_counts_from_a_tenth_of_its_longest_side(height, n):
    assert triangle_gradient([0.0, 90.0, 45.0], [0.0, 0.0, height], [10.0, 9.0, 9.4]).n == n
