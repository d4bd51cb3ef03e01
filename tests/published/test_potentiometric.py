"""Surfaces and gradients against published numbers and against a general-purpose kriging library.

Coordinates and heads stay in the unit of their source: every function here is linear in both, so any one unit serves.
"""

from pathlib import Path

import numpy as np
import pytest

from gwnet.hydro.gradients.horizontal import plane_gradient
from gwnet.hydro.surfaces import kriging, quadratic
from gwnet.hydro.surfaces.variogram import Covariance

CASES = Path(__file__).parent / "cases"


def table(name):
    """Return a table of cases by column."""
    rows = [line for line in (CASES / name).read_text().splitlines() if not line.startswith("#")]
    values = np.array([[float(cell) for cell in row.split(",")] for row in rows[1:]])
    return dict(zip(rows[0].split(","), values.T, strict=True))


@pytest.fixture(scope="module")
def wolfcamp():
    """Return x, y in miles and heads in feet of Harper and Furr (1986)."""
    case = table("wolfcamp_heads.csv")
    return case["x_mi"], case["y_mi"], case["head_ft"]


def test_three_point_problem():
    """US EPA on-site training (Weaver), wells W1, W2, W7 [ft].

    Coordinates and heads are the page's; its answer was not readable, so slopes were worked out by hand from them.
    """
    found = plane_gradient([190, 138, 217], [163, 153, 43], [90.24, 90.27, 90.01])
    assert found.slope_x == pytest.approx(-0.00090629800, abs=1e-11)
    assert found.slope_y == pytest.approx(0.00171274962, abs=1e-11)
    origin = found.mean_head_m - found.slope_x * found.centre_x - found.slope_y * found.centre_y
    assert origin == pytest.approx(90.13301843, abs=1e-8)
    assert found.magnitude == pytest.approx(0.0019377532, abs=1e-10)
    assert found.azimuth_deg == pytest.approx(152.1145, abs=1e-4)


@pytest.mark.parametrize("along", [40.0, 120.0])
def test_three_well_graphical_method(along):
    """Heath (1983), USGS Water-Supply Paper 2220, p. 11, from memory [m].

    Heads 26.26, 26.20 and 26.07 m; wells 1 and 3 are 215 m apart; head 26.20 is met 68 m from well 1; well 3 is 133 m
    from the 26.20 m line, so the gradient is 0.13 m in 133 m. Well 2 may stand anywhere on that line.
    """
    met = 215.0 * (26.26 - 26.20) / (26.26 - 26.07)
    assert round(met) == 68
    sine = 133.0 / (215.0 - met)
    well_2 = met - along * np.sqrt(1.0 - sine**2), along * sine
    found = plane_gradient([0.0, well_2[0], 215.0], [0.0, well_2[1], 0.0], [26.26, 26.20, 26.07])
    assert found.magnitude == pytest.approx(0.13 / 133.0, rel=1e-9)
    # The 26.20 m line runs from (met, 0) to well 2; flow crosses it at right angles, away from well 1.
    east, north = np.sin(np.radians(found.azimuth_deg)), np.cos(np.radians(found.azimuth_deg))
    assert east * (well_2[0] - met) + north * well_2[1] == pytest.approx(0.0, abs=1e-9)
    assert east > 0.0


def test_ordinary_kriging_of_one_point():
    """Isaaks and Srivastava (1989), An Introduction to Applied Geostatistics, chapter 12, answers from memory.

    Covariance 10 exp(−3 h / 10), no nugget, seven samples: estimate 592.7, variance 8.96; weights 0.173, 0.318, 0.129,
    0.086, 0.151, 0.057 and 0.086.
    """
    x, y = np.array([61, 63, 64, 68, 71, 73, 75.0]), np.array([139, 140, 129, 128, 140, 141, 128.0])
    value = np.array([477, 696, 227, 646, 606, 791, 783.0])
    covariance = Covariance("exponential", 10.0, 10.0)
    surface = kriging.fit(x, y, value, covariance=covariance, drift="none")
    assert round(float(surface.predict(65, 137)), 1) == 592.7
    assert round(float(surface.standard_error(65, 137)) ** 2, 2) == 8.96
    ones = [kriging.fit(x, y, row, covariance=covariance, drift="none").predict(65, 137) for row in np.eye(7)]
    assert np.round(ones, 3).tolist() == [0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086]


def test_summary_of_the_wolfcamp_heads(wolfcamp):
    """Summary printed with this copy (reference page of a public spatial-statistics data set), type-7 quartiles."""
    x, y, head = wolfcamp
    assert np.round([x.min(), np.median(x), x.mean(), x.max()], 2).tolist() == [-145.24, 11.66, 16.89, 112.80]
    assert np.round([y.min(), np.median(y), y.mean(), y.max()], 3).tolist() == [9.414, 59.158, 79.356, 184.766]
    quartiles = [head.min(), *np.percentile(head, [25, 50]), head.mean(), np.percentile(head, 75), head.max()]
    assert np.round(quartiles).tolist() == [1024, 1548, 1797, 2002, 2540, 3571]


def test_plane_through_the_wolfcamp_heads(wolfcamp):
    """Harper and Furr (1986) heads; least-squares plane computed independently with numpy [miles, ft]."""
    found = plane_gradient(*wolfcamp)
    assert found.slope_x == pytest.approx(-6.751871980, abs=1e-8)
    assert found.slope_y == pytest.approx(-5.986175080, abs=1e-8)
    origin = found.mean_head_m - found.slope_x * found.centre_x - found.slope_y * found.centre_y
    assert origin == pytest.approx(2591.326576, abs=1e-5)
    assert found.residual_sd_m == pytest.approx(203.307497, abs=1e-5)
    assert found.magnitude == pytest.approx(9.0234177, abs=1e-6)
    assert found.azimuth_deg == pytest.approx(48.43997, abs=1e-5)


def test_plane_with_the_other_copy_of_well_49(wolfcamp):
    """The copies of the Wolfcamp table disagree on well 49; both planes, computed independently [miles, ft]."""
    x, y, head = wolfcamp
    found = plane_gradient(np.where(np.arange(85) == 48, 12.15983, x), y, head)
    assert found.slope_x == pytest.approx(-6.749737, abs=1e-5)
    assert found.slope_y == pytest.approx(-6.012545, abs=1e-5)
    assert found.azimuth_deg == pytest.approx(48.30592, abs=1e-4)


def test_quadratic_trend_surface_of_the_wolfcamp_heads(wolfcamp):
    """Harper and Furr (1986) heads; least squares of 1, x, y, x², xy, y² worked out independently [miles, ft].

    Cressie (1993, section 4.1) takes the same data for trends; no figure of his could be read.
    """
    surface = quadratic.fit(*wolfcamp)
    expected = [2481.23118, -8.37439178, -2.03774171, 0.00141641143, 0.0268101194, -0.0246724020]
    assert surface.expand(0.0, 0.0) == pytest.approx(expected, rel=2e-9)
    assert surface.r_squared == pytest.approx(0.913062, abs=5e-7)
    assert surface.degrees_of_freedom == 79


WOLFCAMP = Covariance("spherical", 40_000.0, 100.0, 12_000.0)
TARGETS = np.array([(0, 75), (50, 100), (-50, 50), (100, 150), (-100, 25)], dtype=float).T


@pytest.mark.parametrize(
    ("drift", "heads", "variances", "mean_error", "rmse"),
    [
        (
            "none",
            [2337.4797, 1692.4590, 2515.6297, 1390.2785, 3086.7868],
            [20630.8208, 26053.7910, 30064.6188, 26948.6265, 22374.0308],
            15.6214,
            227.4650,
        ),
        (
            "linear",
            [2344.9467, 1650.3388, 2572.1739, 1146.2524, 3141.5011],
            [20631.3779, 26070.2023, 30093.7635, 27438.9352, 22400.2237],
            9.8489,
            176.6977,
        ),
    ],
)
def test_kriging_of_the_wolfcamp_heads(wolfcamp, drift, heads, variances, mean_error, rmse):
    """Harper and Furr (1986) heads; spherical, nugget 12,000 ft², partial sill 40,000 ft², range 100 miles.

    Values from two independent implementations that agree to four decimals; leave-one-out by refitting.
    """
    surface = kriging.fit(*wolfcamp, covariance=WOLFCAMP, drift=drift)
    assert surface.predict(*TARGETS) == pytest.approx(heads, abs=6e-5)
    assert surface.standard_error(*TARGETS) ** 2 == pytest.approx(variances, abs=6e-5)
    left_out = surface.leave_one_out()
    assert left_out.mean_error_m == pytest.approx(mean_error, abs=6e-5)
    assert left_out.rmse_m == pytest.approx(rmse, abs=6e-5)
    assert float(surface.predict(wolfcamp[0][0], wolfcamp[1][0])) == pytest.approx(1464.0, abs=1e-9)
    assert float(surface.standard_error(wolfcamp[0][0], wolfcamp[1][0])) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("drift", ["none", "linear"])
@pytest.mark.parametrize("model", ["spherical", "exponential", "gaussian", "linear"])
def test_equal_to_a_kriging_library(wolfcamp, model, drift):
    """PyKrige (general-purpose kriging library, BSD licence): heads and variances to 1e-6 of theirs."""
    pykrige = pytest.importorskip("pykrige")
    kind = pykrige.OrdinaryKriging if drift == "none" else pykrige.UniversalKriging
    options = {} if drift == "none" else {"drift_terms": ["regional_linear"]}
    # Its gaussian model is 1 − exp(−h² / (4 a / 7)²): the same curve for a range of 7 / (4 √3) times ours.
    reach = 100.0 * (7.0 / (4.0 * np.sqrt(3.0)) if model == "gaussian" else 1.0)
    parameters = {"psill": 40_000.0, "range": reach, "nugget": 12_000.0}
    if model == "linear":
        parameters = {"slope": 400.0, "nugget": 12_000.0}
    library = kind(*wolfcamp, variogram_model=model, variogram_parameters=parameters, exact_values=True, **options)
    heads, variances = library.execute("points", *TARGETS)
    surface = kriging.fit(*wolfcamp, covariance=Covariance(model, 40_000.0, 100.0, 12_000.0), drift=drift)
    assert surface.predict(*TARGETS) == pytest.approx(np.asarray(heads), abs=1e-6)
    assert surface.standard_error(*TARGETS) ** 2 == pytest.approx(np.asarray(variances), rel=1e-9)


@pytest.mark.parametrize("drift", ["none", "linear"])
@pytest.mark.parametrize("model", ["spherical", "exponential", "gaussian"])
@pytest.mark.parametrize("measured_ft", [0.0, 50.0])
def test_equal_to_another_kriging_library(wolfcamp, model, drift, measured_ft):
    """GSTools (general-purpose geostatistics library, LGPL): heads and variances to 1e-6 of theirs.

    Also with a measurement variance at each well; it takes either that or a nugget with exact wells, so the two are
    compared one at a time.
    """
    gstools = pytest.importorskip("gstools")
    x, y, head = wolfcamp
    # Its exponential is exp(−h / a), its gaussian exp(−π h² / (4 a²)); ours fall to 5 % at the range.
    kind, reach = {
        "spherical": (gstools.Spherical, 100.0),
        "exponential": (gstools.Exponential, 100.0 / 3.0),
        "gaussian": (gstools.Gaussian, 100.0 * np.sqrt(np.pi / 12.0)),
    }[model]
    nugget = 12_000.0 if measured_ft == 0.0 else 0.0
    noise = np.full(x.size, measured_ft**2) if measured_ft else 0.0
    if model == "gaussian" and measured_ft == 0.0:
        nugget = 20_000.0
    theirs = kind(dim=2, var=40_000.0, len_scale=reach, nugget=nugget)
    options = {"exact": True} if measured_ft == 0.0 else {"cond_err": measured_ft**2}
    library = (
        gstools.krige.Ordinary(theirs, (x, y), head, **options)
        if drift == "none"
        else gstools.krige.Universal(theirs, (x, y), head, "linear", **options)
    )
    heads, variances = library(TARGETS, mesh_type="unstructured", return_var=True, store=False)
    covariance = Covariance(model, 40_000.0, 100.0, nugget)
    surface = kriging.fit(x, y, head, covariance=covariance, drift=drift, measurement_variance_m2=noise)
    assert surface.predict(*TARGETS) == pytest.approx(heads, abs=1e-6)
    assert surface.standard_error(*TARGETS) ** 2 == pytest.approx(variances, rel=1e-9)


@pytest.mark.shared
def test_metric_copy_of_the_wolfcamp_heads(open_data):
    """Harper and Furr (1986), Cressie (1993, p. 212): metric copy, kriged by two general-purpose libraries alike.

    Exponential, nugget 1,500 m², partial sill 30,000 m², range 180 km; heads and variances printed to ten digits.
    """
    _, x, y, head = np.loadtxt(open_data / "wolfcamp.csv", delimiter=",", skiprows=1, unpack=True)
    surface = kriging.fit(x, y, head, covariance=Covariance("exponential", 30_000.0, 180.0, 1_500.0), drift="none")
    expected = {
        (0, 0): (617.0881836, 12072.80338),
        (100, 50): (424.9284658, 14241.92739),
        (-100, -50): (786.8367918, 18091.65192),
        (50, -50): (655.828201, 11663.29529),
        (-150, 50): (720.173097, 27940.70559),
        (150, 100): (442.1135258, 14282.85125),
    }
    for place, (estimate, variance) in expected.items():
        assert float(surface.predict(*place)) == pytest.approx(estimate, abs=1e-6)
        assert float(surface.standard_error(*place)) ** 2 == pytest.approx(variance, rel=1e-8)
