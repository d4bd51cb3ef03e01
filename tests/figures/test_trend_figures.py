"""Trend figures: what they show, as numbers, and how they look, measured by the renderer."""

import math

import numpy as np
import pandas as pd
import pytest
from pypdf import PdfReader

from gwnet.errors import AnalysisError, OutputError, SettingsError, TooFewLevelsError
from gwnet.figures.base.axes import local_days
from gwnet.figures.base.panel import save_all
from gwnet.figures.base.style import new_figure
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.trend_map import draw_slope_map, slope_map_plot_data
from gwnet.figures.series.trend import COLUMNS, ROWS, draw_trend, trend_multiples
from gwnet.figures.series.trend_data import TrendLine, p_text, slope_text, trend_plot_data
from gwnet.figures.series.trend_ranked import draw_ranked_page, ranked_pages, ranked_plot_data

from . import frames
from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, words_of


def row(well="GW-01", slope=-0.05, **more):
    """Return a row of the trends frame."""
    told = {"direction": "falling", "p": 0.0021, "p_adjusted": 0.0042}
    limits = {"slope_lower_m_per_year": slope - 0.02, "slope_upper_m_per_year": slope + 0.02}
    return {
        "well": well,
        "method": "seasonal",
        "n": 40,
        "first": "2015-02-10",
        "last": "2024-10-28",
        "n_bounds": 0,
        "slope_m_per_year": slope,
        **limits,
        **told,
        "note": "",
        "site": "SAND",
        "left_out": "",
        **more,
    }


NO_SLOPE = {f"slope_{end}m_per_year": math.nan for end in ("", "lower_", "upper_")}


def levels(well="GW-01", count=40, out=(), **columns):
    dates, elevations = frames.quarterly(count)
    frame = frames.levels(well, dates, elevations, **columns)
    return frame.assign(taken=~np.isin(np.arange(count), out))


DAYS = np.linspace(16_500.0, 20_000.0, 8)
LINE = TrendLine(DAYS, 47.5 - 1e-4 * (DAYS - DAYS[0]), np.full(8, 47.0), np.full(8, 47.8))


def data_of(level=None, trend=None, line=LINE, well="GW-01", **options):
    return trend_plot_data(
        levels() if level is None else level,
        well,
        trend=row() if trend is None else trend,
        line=None if NO_SLOPE.items() <= (trend or {}).items() else line,
        site=SITE,
        known_on=KNOWN_ON,
        **options,
    )


def test_the_line_and_its_band_are_drawn_as_given():
    figure = draw_trend(data_of())
    drawn = [line for axes in figure.axes for line in axes.lines if np.array_equal(line.get_xdata(), DAYS)]
    assert [line.get_ydata().tolist() for line in drawn] == [LINE.elevation_m.tolist()]
    assert "its limits at 95 %" in words_of(figure)
    bare = TrendLine(DAYS, LINE.elevation_m, np.full(8, math.nan), np.full(8, math.nan))
    assert "its limits at 95 %" not in words_of(draw_trend(data_of(line=bare)))


def test_without_a_slope_there_is_no_line():
    for data in (data_of(trend=row(**NO_SLOPE)), data_of(line=None)):
        assert data.trend is None
        assert "trend" not in words_of(draw_trend(data))
    assert data_of(trend=row(**NO_SLOPE, method="step")).brief == "step: p 0.0042"
    assert data_of(trend=row(**NO_SLOPE, p=math.nan, p_adjusted=math.nan)).brief == "no test"


def test_a_smooth_line_is_drawn_and_named():
    days = np.arange(16_500.0, 20_000.0, 90.0)
    smooth = days, 47.0 + 1e-4 * (days - days[0])
    data = data_of(smooth=smooth)
    figure = draw_trend(data)
    assert "smooth line" in words_of(figure)
    assert "LOWESS" in data.notes[-1]
    drawn = [line for axes in figure.axes for line in axes.lines if np.array_equal(line.get_xdata(), days)]
    assert [line.get_ydata().tolist() for line in drawn] == [smooth[1].tolist()]
    assert "smooth line" not in words_of(draw_trend(data_of()))


def test_across_a_gap_the_medians_before_and_after_are_drawn():
    frame = levels(count=40).drop(index=list(range(10, 30)))
    frame.loc[frame.index >= 30, "water_elevation_m"] += 2.0
    told = row(**NO_SLOPE, method="step", direction="higher after", note="median shift -2.00 m")
    data = data_of(frame, told)
    (start, end, before), (start_after, end_after, after) = data.steps
    assert start < end < start_after < end_after
    assert after - before == pytest.approx(2.0, abs=0.5)
    assert "median before and after the gap" in words_of(draw_trend(data))
    assert "Median shift −2.00 m." in " ".join(data.notes)
    unsure = data_of(frame, told | {"direction": "no significant step"})
    assert "median before and after the gap, no significant step" in words_of(draw_trend(unsure))
    assert data_of().steps == ()


@pytest.mark.slow
def test_steps_are_drawn_as_medians_between_them_with_their_words():
    frame = levels(count=40)
    frame.loc[frame.index >= 24, "water_elevation_m"] -= 3.0
    cut = float(local_days(frame["measured_at"])[24])
    data = data_of(frame, changes=((cut, "step of -3.00 m about 2016 (2015 to 2016)"),))
    (_, end, before), (start_after, _, after) = data.steps
    assert end < cut <= start_after
    assert before - after == pytest.approx(3.0, abs=0.6)
    assert "median between steps" in words_of(draw_trend(data))
    assert "before and after the gap" not in words_of(draw_trend(data))
    assert "Steps, with the interval of the year at 95 %: step of −3.00 m about 2016 (2015 to 2016)." in data.notes
    # a hollow verdict on the slope says nothing of steps that are found
    unsure = data_of(frame, row(direction="no significant trend"), changes=((cut, "step of -3.00 m"),))
    assert "median between steps, no significant step" not in words_of(draw_trend(unsure))


def test_the_caption_says_slope_test_period_and_what_was_left_out():
    text = " ".join(data_of(trend=row(left_out="2 pumping", n_bounds=3, note="seasons differ")).notes)
    assert "−0.050 m a year (−0.070 to −0.030), limits at 95 %" in text
    assert "each season compared with its own kind: p 0.0021, 0.0042 adjusted for many wells; falling." in text
    assert "40 values, 3 of them bounds (dry), 2015-02-10 to 2024-10-28." in text
    assert "Seasons differ. Left out: 2 pumping." in text
    assert "Record as known on 2026-04-07 09:30:00 UTC (state 3)." in text


def test_feet():
    data = data_of(unit="ft")
    assert data.brief == "−0.16 ft a year, p 0.0042"
    words = words_of(draw_trend(data))
    assert "Water elevation [ft]" in words
    assert "above local datum 1987" in words


@pytest.mark.parametrize(
    ("slope", "unit", "expected"),
    [
        (0.0123, "m", "+0.012 m a year"),
        (0.0004, "m", "+0.0004 m a year"),
        (-0.0123, "ft", "−0.04 ft a year"),
        (math.nan, "m", ""),
    ],
)
def test_a_slope_in_words(slope, unit, expected):
    assert slope_text(row(slope=slope), unit, limits=False) == expected


def test_limits_and_probabilities_in_words():
    assert slope_text(row(slope=0.1, slope_lower_m_per_year=math.nan), "m").endswith("(too few slopes for limits)")
    assert p_text(0.5) == "p 0.5"


def test_levels_left_out_are_hollow_and_never_joined():
    status, usable = ["static"] * 40, [True] * 40
    status[5], usable[5] = "pumping", False
    data = data_of(levels(out=[5, 9], status=status, usable=usable))
    assert data.kind[5] == "pumping"
    assert not data.taken[[5, 9]].any()
    joined = {i for piece in data.lines for i in piece}
    assert joined == set(range(40)) - {5, 9}
    words = words_of(draw_trend(data))
    assert {"level", "pumping, left out", "level, left out"} <= set(words)


def test_gaps_and_dry_levels_break_the_line():
    status, bound, usable = ["static"] * 40, [""] * 40, [True] * 40
    status[7], bound[7], usable[7] = "dry", "<=", False
    frame = levels(status=status, bound=bound, usable=usable)
    frame = frame.drop(index=list(range(20, 26)))
    data = data_of(frame)
    assert [len(piece) for piece in data.lines] == [7, 12, 14]
    assert data.taken[7]
    assert "dry: head at or below" in words_of(draw_trend(data))


def test_a_level_far_off_that_is_left_out_does_not_stretch_the_axis():
    frame = levels(out=[3])
    frame.loc[3, "water_elevation_m"] = 30.0
    data = data_of(frame)
    assert data.low_m > 45.0
    assert "beyond the axis" in words_of(draw_trend(data))
    taken = data_of(frame.assign(taken=True))
    assert taken.low_m == 30.0


def test_a_trend_that_is_not_significant_is_dashed():
    told, not_significant = data_of(), data_of(trend=row(direction="no significant trend"))
    assert "trend" in words_of(draw_trend(told))
    assert "slope, no significant trend" in words_of(draw_trend(not_significant))


def test_nothing_collides_or_leaves_the_page():
    figure = draw_trend(data_of(trend=row(note="a long note on what the numbers rest on; " * 6, left_out="3 pumping")))
    assert collisions(figure) == []
    assert beyond_page(figure) == []


def test_small_panels_share_time_and_height_unless_a_well_needs_more():
    lively = levels("GW-02")
    lively["water_elevation_m"] = 47.5 + 6.0 * (lively["water_elevation_m"] - 47.5)
    wells = [data_of() for _ in range(10)] + [data_of(lively, row("GW-02"), well="GW-02")]
    (page,) = trend_multiples(wells, title="Trends")
    spans = [round(high - low, 6) for low, high in (axes.get_ylim() for axes in page.axes)]
    assert len(set(spans[:10])) == 1
    assert spans[10] > 3 * spans[0]
    assert "×10" in words_of(page)
    assert len({axes.get_xlim() for axes in page.axes}) == 1
    assert collisions(page) == []
    assert beyond_page(page) == []


def test_many_wells_go_on_further_pages():
    wells = [data_of() for _ in range(COLUMNS * ROWS + 1)]
    pages = trend_multiples(wells, title="Trends")
    assert [len(page.axes) for page in pages] == [COLUMNS * ROWS, 1]
    assert "Trends (2 of 2)" in words_of(pages[1])


def table(count=30):
    """Return trends of wells whose slopes go from −0.1 to 0.1 m a year; every third is told."""
    rows = []
    for i in range(count):
        slope = -0.1 + 0.2 * i / max(count - 1, 1)
        way = "falling" if slope < 0 else "rising"
        rows.append(row(f"GW-{i:03d}", slope, direction=way if i % 3 == 0 else "no significant trend"))
    return pd.DataFrame([*rows, row("NONE", **NO_SLOPE, n=0, first="", last="")])


def test_slopes_are_ranked_from_the_fastest_rise_to_the_fastest_fall():
    data = ranked_plot_data(table(), site=SITE, unit="ft", known_on=KNOWN_ON)
    slopes = [one.slope for one in data.rows]
    assert slopes == sorted(slopes, reverse=True)
    assert slopes[0] == pytest.approx(0.1 / 0.3048)
    assert data.low < min(slopes)
    assert data.high > max(slopes)
    text = " ".join(data.notes)
    assert "30 wells, levels of 2015-02-10 to 2024-10-28" in text
    assert "5 rising, 5 falling" in text
    assert "Without a slope: NONE." in text


@pytest.mark.slow
@pytest.mark.parametrize(("count", "pages"), [(3, 1), (40, 1), (200, 4)])
def test_ranked_slopes_on_pages(count, pages):
    data = ranked_plot_data(table(count), site=SITE)
    figures = [draw_ranked_page(data, number) for number in range(ranked_pages(data))]
    assert len(figures) == pages
    words = [text for figure in figures for text in words_of(figure)]
    assert {f"GW-{i:03d}" for i in range(count)} <= set(words)
    assert "Slope [m a year]" in words
    for figure in figures[:1]:
        assert collisions(figure) == []
        assert beyond_page(figure) == []


def test_a_limit_far_off_is_cut_and_stated():
    slopes = table(20)
    slopes.loc[4, "slope_upper_m_per_year"] = 9.0
    data = ranked_plot_data(slopes, site=SITE)
    assert data.high < 1.0
    assert "limit beyond the axis" in words_of(draw_ranked_page(data, 0))


def test_without_any_slope_nothing_is_ranked():
    with pytest.raises(TooFewLevelsError):
        ranked_plot_data(table().tail(1), site=SITE)
    with pytest.raises(SettingsError):
        ranked_plot_data(table(), site=SITE, unit="cm")


def places(count, extent=2000.0):
    x, y = frames.scattered(count, 7, extent)
    names = [f"GW-{i:03d}" for i in range(count)]
    return pd.DataFrame({"well": names, "easting": x, "northing": y})


def test_a_map_of_slopes_places_sizes_and_tells():
    wells = places(30)
    wells.loc[5, "easting"] = np.nan
    data = slope_map_plot_data(table(), wells, MapContext(SITE, known_on=KNOWN_ON))
    assert len(data.points) == 29
    assert sum(point.is_significant for point in data.points) == 10
    assert data.largest == pytest.approx(0.1, rel=0.05)
    text = " ".join(line for note in data.notes for line in note.lines)
    assert "5 rising, 5 falling, 20 no significant trend" in text
    assert "GW-005" in text
    figure = draw_slope_map(data)
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    words = words_of(figure)
    assert {"rising", "falling", "rising, no significant trend", "falling, no significant trend"} <= set(words)
    assert "−0.100" in words


def test_on_a_map_of_many_wells_only_trends_are_named():
    data = slope_map_plot_data(table(200), places(200), MapContext(SITE), unit="ft")
    figure = draw_slope_map(data)
    words = words_of(figure)
    assert "GW-001" not in words
    named = [text for text in words if text.startswith("GW-")]
    assert 20 < len(named) <= 67
    assert "Only wells with a trend are named." in words
    assert collisions(figure) == []


def test_a_map_needs_slopes_and_coordinates():
    with pytest.raises(AnalysisError):
        slope_map_plot_data(table(), places(30).assign(easting=np.nan), MapContext(SITE))
    with pytest.raises(AnalysisError):
        slope_map_plot_data(table().tail(1), places(30), MapContext(SITE))


def pages(count):
    return [new_figure((40.0, 30.0)) for _ in range(count)]


def test_pages_become_one_document_or_numbered_pictures(tmp_path):
    assert save_all([(pages(3), tmp_path / "a.pdf")]) == [tmp_path / "a.pdf"]
    assert len(PdfReader(tmp_path / "a.pdf").pages) == 3
    first = (tmp_path / "a.pdf").read_bytes()
    save_all([(pages(3), tmp_path / "a.pdf")])
    assert (tmp_path / "a.pdf").read_bytes() == first
    names = [path.name for path in save_all([(pages(3), tmp_path / "b.png")])]
    assert names == ["b.png", "b-2.png", "b-3.png"]
    assert save_all([(pages(1), tmp_path / "c.svg")]) == [tmp_path / "c.svg"]


def test_figures_are_written_all_or_none(tmp_path):
    with pytest.raises(OutputError):
        save_all([(pages(2), tmp_path / "a.png"), (pages(1), tmp_path / "b.jpg")])
    with pytest.raises(OutputError):
        save_all([(pages(2), tmp_path / "a.png"), (pages(1), tmp_path / "missing" / "b.png")])
    assert list(tmp_path.iterdir()) == []


def test_daily_means_of_a_logger_are_a_line_without_marks():
    hand = levels(count=30)
    day = pd.Timestamp(hand["measured_at"].iloc[10][:10])
    days = [f"{day + pd.Timedelta(days=k):%Y-%m-%d} 12:00" for k in (*range(3, 40), *range(60, 80))]
    logged = frames.levels("GW-01", days, np.full(len(days), 47.3)).assign(taken=True, method="logger")
    data = data_of(pd.concat([hand.assign(method=""), logged], ignore_index=True))
    assert data.logged.sum() == len(days)
    joined = {i for piece in data.lines for i in piece}
    assert not joined & set(np.flatnonzero(data.logged))
    assert len(data.lines) == 2  # logged days between two manual readings break their line
    words = words_of(draw_trend(data))
    assert "logger, daily means" in words
    left_out = data_of(pd.concat([hand.assign(method=""), logged.assign(taken=False)], ignore_index=True))
    assert "logger, daily means, left out" in words_of(draw_trend(left_out))
