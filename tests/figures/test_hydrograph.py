"""Drawn hydrographs: what stands where, measured by the renderer."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import Rectangle

from gwnet.figures.base import style
from gwnet.figures.base.style import new_figure
from gwnet.figures.base.symbols import Hatched
from gwnet.figures.hydrograph.draw import common_span, draw_hydrograph, hydrograph_plot_data, hydrograph_sheet
from gwnet.figures.hydrograph.gutter import gutter_labels
from gwnet.figures.hydrograph.logger_line import LoggerLine, LoggerSeries, draw_logger_line

from . import frames
from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, texts_of, words_of

ODD = "Well $x_1$ & <b>bold</b> \\frac{a}{b} _a^2"


def rich(unit="m", well="GW-01", **options):
    """Return plot data in which everything occurs at once."""
    dates, elevations = frames.quarterly(40)
    elevations = elevations.copy()
    status, bound, usable, quality = ["static"] * 40, [""] * 40, [True] * 40, ["good"] * 40
    for i, word in ((5, "pumping"), (6, "recovering"), (12, "frozen")):
        status[i], usable[i] = word, False
    for i in (15, 16):
        status[i], bound[i], usable[i], elevations[i] = "dry", "<=", False, 46.0
    status[20], bound[20] = "flowing", ">="
    usable[24], quality[28] = False, "estimate"
    elevations[24] = 30.0
    review = ["approved"] * 30 + ["provisional"] * 10
    frame = frames.levels(
        well, dates, elevations, status=status, bound=bound, usable=usable, quality=quality, review=review
    )
    rows = frames.points(
        well,
        ("main", "2010-01-01", "2018-05-04", 52.310, 0.8, "installed"),
        ("main", "2018-05-04", "2018-07-01", 52.184, 0.7, "altered"),
        ("main", "2018-07-01", None, 52.191, 0.7, "corrected"),
    )
    limits = frames.thresholds(
        well,
        ("action 1", "lower", 46.90, None),
        ("action 2", "lower", 46.88, None),
        ("action 3", "lower", 46.86, None),
        ("recovery target", "upper", 46.93, "2018-03-01"),
    )
    return hydrograph_plot_data(
        frame,
        well,
        site=SITE,
        measuring_points=rows,
        thresholds=limits,
        wells=frames.wells(well, ground=48.4, top=1.5, bottom=3.0, cluster="C1"),
        context=frames.rainfall(),
        unit=unit,
        aquifer_name="Upper gravel",
        known_on=KNOWN_ON,
        **options,
    )


@pytest.mark.parametrize("unit", ["m", "ft"])
@pytest.mark.parametrize("size", [(180.0, 100.0), (170.0, 66.0), (120.0, 80.0)])
def test_no_text_meets_another_or_leaves_the_page(unit, size):
    figure = draw_hydrograph(rich(unit), size_mm=size)
    assert collisions(figure) == []
    assert beyond_page(figure) == []


LIMITS = ["46.93", "46.90", "46.88", "46.86"]


@pytest.mark.slow
def test_close_thresholds_are_all_labelled_in_their_order_beside_the_data():
    figure = draw_hydrograph(rich())
    labels = [(text.get_text(), box) for text, box in texts_of(figure) if text.get_text()[:5] in LIMITS]
    names = [text for text, _ in sorted(labels, key=lambda one: -one[1].bottom)]
    assert [name[:5] for name in names] == LIMITS


@pytest.mark.parametrize(("unit", "per_m"), [("m", 1.0), ("ft", 1 / 0.3048)])
def test_the_depth_axis_is_the_elevation_axis_turned_over(unit, per_m):
    data = rich(unit)
    figure = draw_hydrograph(data)
    level = figure.axes[0]
    depth = next(axes for axes in figure.axes if axes.get_ylim()[0] > axes.get_ylim()[1])
    low, high = level.get_ylim()
    deep, shallow = depth.get_ylim()
    assert (low, high) == pytest.approx((data.low_m * per_m, data.high_m * per_m))
    assert deep - shallow == pytest.approx(high - low)
    for elevation in (low, (low + high) / 2, high):
        share = (elevation - low) / (high - low)
        assert deep + share * (shallow - deep) == pytest.approx(52.191 * per_m - elevation)
    assert level.get_position().bounds == pytest.approx(depth.get_position().bounds)
    words = words_of(figure)
    assert f"Water elevation [{unit}]" in words
    assert f"Depth below measuring point [{unit}]" in words
    assert any("since 2018-07-01" in word for word in words)


def test_a_threshold_that_has_ended_says_when():
    dates, elevations = frames.quarterly(30)
    limits = frames.thresholds("GW-01", ("warning", "lower", 46.9, None), ("warning", "lower", 46.7, "2018-01-01"))
    limits["valid_until_utc"] = [pd.Timestamp("2018-01-01", tz="UTC"), pd.NaT]
    data = hydrograph_plot_data(frames.levels("GW-01", dates, elevations), "GW-01", site=SITE, thresholds=limits)
    assert "46.90 warning (lower) until 2018-01-01" in [label.text for label in gutter_labels(data)]
    assert "46.70 warning (lower)" in [label.text for label in gutter_labels(data)]


def test_without_a_measuring_point_there_is_one_axis_only():
    dates, elevations = frames.quarterly(8)
    figure = draw_hydrograph(hydrograph_plot_data(frames.levels("GW-01", dates, elevations), "GW-01", site=SITE))
    assert len(figure.axes) == 1
    assert not any("Depth" in word for word in words_of(figure))


def test_the_key_names_what_is_drawn_and_nothing_else():
    words = words_of(draw_hydrograph(rich()))
    for label in (
        "level, approved",
        "level, provisional",
        "estimate, approved",
        "dry: head at or below",
        "pumping",
        "recovering",
        "otherwise disturbed",
    ):
        assert label in words
    dates, elevations = frames.quarterly(8)
    plain = draw_hydrograph(hydrograph_plot_data(frames.levels("GW-01", dates, elevations), "GW-01", site=SITE))
    assert "level, approved" in words_of(plain)
    assert not {"estimate, approved", "dry: head at or below", "pumping", "logger", "level, provisional"} & set(
        words_of(plain)
    )


def test_bounds_carry_their_sign_and_readings_off_the_axis_are_stated():
    words = words_of(draw_hydrograph(rich()))
    assert "≤" in words
    assert "≥" in words
    assert any(word.startswith("not used") and word.endswith("30.000") for word in words)


def test_names_with_markup_are_shown_as_text():
    dates, elevations = frames.quarterly(8)
    site = SITE | {"name": "Site <i>$\\alpha$</i>", "vertical_datum": "datum_$1$"}
    limits = frames.thresholds(ODD, ("<u>$limit$", "lower", 47.0, None))
    frame = frames.levels(ODD, dates, elevations)
    figure = draw_hydrograph(hydrograph_plot_data(frame, ODD, site=site, thresholds=limits))
    words = words_of(figure)
    assert ODD in words
    assert any("Site <i>$\\alpha$</i>" in word for word in words)
    assert any("<u>$limit$" in word for word in words)
    assert all(text.get_parse_math() is False for text, _ in texts_of(figure) if "$" in text.get_text())


def test_marks_are_hollow_where_they_should_be():
    figure = draw_hydrograph(rich())
    marks = {}
    for line in figure.axes[0].lines:
        marks.setdefault(str(line.get_marker()), []).append(line)
    pumping = marks["D"][0]
    assert pumping.get_markerfacecolor() == "#FFFFFF"
    discs = {line.get_markerfacecolor() for line in marks["o"] if line.get_fillstyle() == "full"}
    assert len(discs) == 2


@pytest.mark.parametrize("case", ["one", "dry", "century", "none", "flowing", "logger"])
def test_unusual_records_are_drawn_without_collision(case):
    dates, elevations = frames.quarterly(30)
    options = {}
    if case == "one":
        frame = frames.levels("GW-01", dates[:1], elevations[:1], review="provisional")
    elif case == "dry":
        frame = frames.levels("GW-01", dates, [44.5] * 30, status="dry", bound="<=", usable=False)
    elif case == "century":
        months = pd.date_range("1925-01-15", "2024-12-15", freq="30D")
        swing = 120 + np.sin(np.arange(len(months)) / 2) - np.arange(len(months)) / 400
        frame = frames.levels("GW-01", months, swing)
        options["context"] = frames.rainfall("1925-01-01", "2024-12-31")
    elif case == "none":
        frame = frames.levels("GW-02", dates, elevations)
    elif case == "flowing":
        frame = frames.levels("GW-01", dates, elevations + 5.4, status="flowing")
        options["measuring_points"] = frames.points("GW-01", ("main", "2014-01-01", None, 52.31, 0.7, ""))
    else:
        frame = frames.levels("GW-01", dates, elevations)
        times = pd.date_range("2016-01-01", "2018-01-01", freq="h", tz="UTC")
        options["series"] = (times, 47.5 + np.sin(np.arange(len(times)) / 900))
    data = hydrograph_plot_data(frame, "GW-01", site=SITE, **options)
    figure = draw_hydrograph(data)
    assert collisions(figure) == []
    assert beyond_page(figure) == []


def test_a_logger_line_is_thinned_but_keeps_its_extremes():
    times = pd.date_range("2015-01-01", "2024-12-31", freq="15min", tz="UTC")
    values = 47.5 + np.sin(np.arange(len(times)) / 5000)
    values[123_456], values[234_567] = 49.9, 45.1
    dates, elevations = frames.quarterly(30)
    data = hydrograph_plot_data(frames.levels("GW-01", dates, elevations), "GW-01", site=SITE, series=(times, values))
    figure = draw_hydrograph(data)
    line = max(figure.axes[0].lines, key=lambda one: len(one.get_xdata()))
    drawn = np.asarray(line.get_ydata())
    assert len(drawn) < len(values) / 20
    assert (drawn.max(), drawn.min()) == (49.9, 45.1)


def test_sheets_share_time_and_height_and_keep_their_text_apart():
    dates, elevations = frames.quarterly(40)
    names = [f"GW-{i:02d}" for i in range(4)]
    parts = {name: frames.levels(name, dates[i * 4 :], elevations[i * 4 :] + 0.3 * i) for i, name in enumerate(names)}
    limits = frames.thresholds(names[1], ("stage 1 of the agreement", "lower", 46.9, None))
    span = common_span(parts.values(), thresholds=limits)
    data = [
        hydrograph_plot_data(frame, name, site=SITE, span=span, thresholds=limits, wells=frames.wells(name))
        for name, frame in parts.items()
    ]
    figure = hydrograph_sheet(data)
    panels = [axes for axes in figure.axes if axes.get_ylim()[0] < axes.get_ylim()[1]]
    assert len(panels) == 4
    assert len({axes.get_ylim() for axes in panels}) == 1
    assert len({round(axes.get_position().height, 6) for axes in panels}) == 1
    assert {round(axes.get_xlim()[0], 6) for axes in panels} == {min(one.first for one in data)}
    assert len({axes.get_xlim() for axes in panels}) == 1
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    assert [name for name in words_of(figure) if name in names] == names


def test_a_caption_can_be_left_to_the_page_that_the_figure_stands_on():
    data = rich()
    assert any("Elevations above" in word for word in words_of(draw_hydrograph(data)))
    assert not any("Elevations above" in word for word in words_of(draw_hydrograph(data, caption=False)))


def test_the_time_axis_ends_where_it_was_asked_to():
    data = replace(rich(end=dt.date(2022, 6, 30)), levels=(), screens_m=())
    figure = draw_hydrograph(data)
    assert figure.axes[0].get_xlim()[1] == data.last == 19174.0


def logged(*, approved=True, left_out=()):
    """Return continuous heads of two years with a gap, hung until the end of the first one."""
    times = pd.date_range("2016-01-01", "2018-01-01", freq="h", tz="UTC").to_numpy()
    values = 47.5 + np.sin(np.arange(len(times)) / 900)
    values[4000:4400] = np.nan
    states = np.full(len(times), fill_value=approved)
    hung = (
        ("S-1", pd.Timestamp("2016-01-01", tz="UTC"), pd.Timestamp("2017-01-01", tz="UTC")),
        ("S-2", times[-900], None),
    )
    return LoggerSeries(times, values, states, installed=hung, left_out=left_out, notes=("Logger S-1 says so.",))


def drawn_with(series, **options):
    dates, elevations = frames.quarterly(30)
    frame = frames.levels("GW-01", dates, elevations)
    data = hydrograph_plot_data(frame, "GW-01", site=SITE, series=series, **options)
    return data, draw_hydrograph(data)


def test_the_logger_line_is_one_and_named_in_the_key():
    data, figure = drawn_with(logged())
    (line,) = [line for line in figure.axes[0].lines if len(line.get_xdata()) > 500]
    assert line.get_color() == style.WATER
    shown = np.asarray(line.get_xdata())[np.isfinite(np.asarray(line.get_ydata()))]
    assert shown.max() == pytest.approx(data.logger.days[np.isfinite(data.logger.elevation_m)].max())
    words = words_of(figure)
    assert {"logger", "sensor installed"} <= set(words)
    assert any("Logger S-1 says so." in word for word in " ".join(words).splitlines())
    assert collisions(figure) == []


def test_a_strip_shows_where_the_logger_hung_and_what_is_left_out():
    spell = (pd.Timestamp("2016-06-01", tz="UTC"), pd.Timestamp("2016-07-01", tz="UTC"))
    data, figure = drawn_with(logged(left_out=(spell,)))
    installed = [p for p in figure.axes[0].patches if isinstance(p, Rectangle) and p.get_height() < 0.1]
    (left_out,) = [p.get_path().get_extents() for p in figure.axes[0].patches if isinstance(p, Hatched)]
    assert left_out.width == pytest.approx(30.0)
    assert left_out.y0 == 0.0
    assert max(p.get_x() + p.get_width() for p in installed) == pytest.approx(data.last)
    assert len(installed) == 2
    assert "samples left out" in words_of(figure)


def test_a_long_logger_line_is_thinned_without_losing_an_extreme_of_the_hour_that_clocks_repeat():
    days = 17_000.0 + np.arange(40_000) / 96.0
    days[20_000:] -= 1.0 / 24.0
    values = np.sin(np.arange(days.size) / 500.0)
    values[20_001] = 9.0
    axes = new_figure((100.0, 60.0)).add_axes((0, 0, 1, 1))
    line = LoggerLine(days=days, elevation_m=values, approved=np.ones(days.size, dtype=bool))
    draw_logger_line(axes, line, (days[0], days[-1]), width_mm=10.0, factor=1.0)
    (drawn,) = axes.lines
    assert len(drawn.get_xdata()) <= 4 * 120
    assert drawn.get_ydata().max() == 9.0


def test_the_line_is_broken_at_the_gap():
    _, figure = drawn_with(logged())
    line = max(figure.axes[0].lines, key=lambda one: len(one.get_xdata()))
    x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    for a, b, c in zip(x, x[1:], np.isnan(y[:-1]) | np.isnan(y[1:]), strict=False):
        assert c or b - a < 5.0


@pytest.mark.slow
def test_a_group_s_span_holds_the_heads_of_its_loggers():
    dates, elevations = frames.quarterly(30)
    frame = frames.levels("GW-01", dates, elevations)
    alone = common_span([frame])
    with_heads = common_span([frame], series={"GW-01": logged()})
    assert with_heads.low_m <= 46.5
    assert with_heads.low_m + with_heads.height_m >= 48.5
    assert with_heads.height_m > alone.height_m
