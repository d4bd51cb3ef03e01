"""Figures of pumping tests: what each kind shows, what is posted, and what cannot be shown."""

from dataclasses import replace

import numpy as np
import pytest

from gwnet.errors import AnalysisError, UnitError
from gwnet.figures.base.style import figure_bytes
from gwnet.figures.pumping.data import KINDS, parameter_lines, pumping_plot_data, short_figure
from gwnet.figures.pumping.draw import draw_pumping
from gwnet.hydro.pumping import PumpingGeometry, PumpingRates, WellDrawdown, fit_pumping_test
from gwnet.hydro.pumping.models import model_drawdown

PLANTED = {"transmissivity": 300.0, "storativity": 2e-4}


def drawn(rates, distance, days, name="P", loss=0.0):
    """Return a well with Theis's drawdowns, a loss quadratic in the rate and small errors."""
    empty = WellDrawdown(name, distance, days, np.zeros(len(days)))
    exact = model_drawdown("theis", PLANTED, rates, empty, PumpingGeometry())
    noise = np.random.default_rng(5).normal(0.0, 0.003, len(days))
    return WellDrawdown(name, distance, days, exact + loss * rates.rate_at(np.asarray(days) - 1e-9) ** 2 + noise)


@pytest.fixture
def constant():
    """Return rates, two wells and their fit."""
    rates = PumpingRates([0.0, 1.0], [500.0, 0.0])
    days = np.concatenate([np.geomspace(1e-3, 1.0, 30), 1.0 + np.geomspace(1e-3, 1.0, 20)])
    wells = [drawn(rates, 20.0, days, "P-20"), drawn(rates, 80.0, days, "P-80")]
    return rates, wells, fit_pumping_test("theis", rates, wells)


def texts(figure):
    """Return every text of a figure as one."""
    labels = [text for axes in figure.axes for text in (axes.get_xlabel(), axes.get_ylabel())]
    return " ".join([*(text.get_text() for text in figure.texts), *labels])


def test_drawdown_over_the_logarithm_of_time_has_its_model_and_residuals(constant):
    rates, wells, fit = constant
    data = pumping_plot_data(
        "half-log", rates, wells, fit, title="Test T-1", posted=["PW-1, datum, 500 m³/d, 1 d"], notes=["A note."]
    )
    figure = draw_pumping(data)
    panel, beside = figure.axes
    assert panel.get_xscale() == "log"
    assert panel.get_ylim()[0] > panel.get_ylim()[1]
    assert data.beside.points[0].y == pytest.approx(fit.residuals[:50])
    curve = data.panel.curves[0]
    at = np.interp(np.log(wells[0].days[3:28] * 1440), np.log(curve.x), curve.y)
    assert at == pytest.approx(fit.fitted_m[3:28], abs=0.005)
    words = texts(figure)
    for text in (
        "Test T-1",
        "PW-1, datum",
        "P-20",
        "P-80",
        "transmissivity 3",
        "m²/d (",
        "A note.",
        "measured − model",
    ):
        assert text in words
    assert "hollow" not in words
    assert beside.get_yscale() == "linear"


def test_a_part_of_the_readings_is_filled_and_the_others_are_hollow(constant):
    rates, wells, _ = constant
    fit = fit_pumping_test("theis", rates, [wells[0].within(0.01, 1.0)])
    data = pumping_plot_data("half-log", rates, wells, fit, title="T")
    assert data.panel.points[0].taken.sum() == fit.n < data.panel.points[0].taken.size
    assert not data.panel.points[1].taken.any()
    assert "hollow: not part of the analysis" in texts(draw_pumping(data))


def test_both_logarithmic_axes_have_the_derivative_under_the_points(constant):
    rates, wells, fit = constant
    data = pumping_plot_data("log-log", rates, wells, fit, title="T")
    derivatives = [series for series in data.panel.points if series.is_derivative]
    assert len(derivatives) == 2
    late = derivatives[0].x > 100
    assert np.median(derivatives[0].y[late]) == pytest.approx(500 / (4 * np.pi * 300), rel=0.15)
    assert max(series.x.max() for series in data.panel.points) <= 1440.0 + 1e-6
    lines = [series for series in data.panel.curves if series.is_derivative]
    assert lines[0].y[-1] == pytest.approx(500 / (4 * np.pi * 300), rel=0.01)
    figure = draw_pumping(data)
    assert figure.axes[0].get_yscale() == "log"
    assert "small: derivative by ln t" in texts(figure)


def test_recovery_is_over_the_ratio_of_times(constant):
    rates, wells, _ = constant
    fit = fit_pumping_test("recovery", rates, wells[:1])
    data = pumping_plot_data("recovery", rates, wells, fit, title="T")
    assert data.panel.points[0].x.max() == pytest.approx(1001.0)
    assert data.panel.points[0].x.size == 20
    assert "t/t′" in texts(draw_pumping(data))
    with pytest.raises(AnalysisError, match="no stop"):
        pumping_plot_data("recovery", PumpingRates([0.0], [1.0]), wells, title="T")


@pytest.mark.parametrize("method", ["step", "step-rorabaugh", "step-theis"])
def test_steps_have_their_specific_drawdown_beside(method):
    rates = PumpingRates([0.0, 0.1, 0.2, 0.3], [200.0, 400.0, 600.0, 800.0])
    days = np.concatenate([start + np.geomspace(2e-3, 0.1, 12) for start in rates.start_days])
    pumped = drawn(rates, 0.15, days, "PW", loss=4e-6)
    fit = fit_pumping_test(method, rates, [pumped])
    data = pumping_plot_data("steps", rates, [pumped], fit, title="T")
    assert data.beside.points[0].x.tolist() == [200.0, 400.0, 600.0, 800.0]
    specific = np.interp(data.beside.points[0].x, data.beside.curves[0].x, data.beside.curves[0].y)
    assert specific == pytest.approx(data.beside.points[0].y, rel=0.1)
    assert bool(data.panel.curves) == (method == "step-theis")
    assert "drawdown over rate (m per m³/d)" in texts(draw_pumping(data))


def test_distance_has_one_point_a_well_and_no_residuals_of_two_wells(constant):
    rates, wells, _ = constant
    fit = fit_pumping_test("distance", rates, wells)
    data = pumping_plot_data("distance", rates, wells, fit, title="T", unit="ft")
    assert data.beside is None
    assert [series.x.size for series in data.panel.points] == [1, 1]
    assert data.panel.points[0].x[0] == pytest.approx(20 / 0.3048)
    line = data.panel.curves[0]
    assert np.interp(20 / 0.3048, line.x, line.y) == pytest.approx(data.panel.points[0].y[0], rel=1e-6)
    assert "(not determined: no limits)" in texts(draw_pumping(data))


def test_figures_without_an_analysis_and_what_cannot_be_shown(constant):
    rates, wells, _ = constant
    for kind in KINDS:
        data = pumping_plot_data(kind, rates, wells, title="T")
        assert not data.panel.curves
        assert draw_pumping(data).axes
    with pytest.raises(AnalysisError, match="No reading can be shown"):
        pumping_plot_data("half-log", rates, [WellDrawdown("P", 1.0, [-1.0], [0.0])], title="T")
    with pytest.raises(AnalysisError, match="no kind of figure"):
        pumping_plot_data("round", rates, wells, title="T")
    with pytest.raises(UnitError):
        pumping_plot_data("half-log", rates, wells, title="T", unit="cubit")


def test_the_same_figure_gives_the_same_file(constant):
    rates, wells, fit = constant
    one, two = (draw_pumping(pumping_plot_data("log-log", rates, wells, fit, title="T")) for _ in range(2))
    assert figure_bytes(one, "png") == figure_bytes(two, "png")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (480.47, "480"),
        (0.15311, "0.153"),
        (0.000112507, "1.13 × 10⁻⁴"),
        (23456.0, "23 500"),
        (2.5e9, "2.50 × 10⁹"),
        (np.inf, "∞"),
        (-np.inf, "−∞"),
        (np.nan, "?"),
        (0.0, "0"),
        (-4.5, "−4.50"),
    ],
)
def test_numbers_have_three_figures(value, text):
    assert short_figure(value) == text


def test_a_parameter_that_is_not_determined_says_its_bound(constant):
    rates, wells, _ = constant
    fit = fit_pumping_test("leaky", rates, [wells[0]])
    (line,) = [line for line in parameter_lines(fit) if line.startswith("leakage")]
    assert "(not determined: above " in line


def test_a_model_that_the_data_do_not_determine_is_drawn_through_its_values(constant):
    rates, wells, fit = constant
    boundless = replace(fit, parameters=tuple(replace(p, value=np.inf, identifiable=False) for p in fit.parameters))
    data = pumping_plot_data("half-log", rates, wells, boundless, title="T")
    assert data.panel.curves[0].y == pytest.approx(fit.fitted_m[:50])
    assert "transmissivity ∞" in texts(draw_pumping(data))
