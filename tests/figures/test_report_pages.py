"""Pages of reports: the page of an aquifer, key map, high and low water, thresholds, gradients of a sector."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from gwnet.figures.base.axes import day_number
from gwnet.figures.base.page import Box
from gwnet.figures.maps.aquifer_page import (
    AquiferPage,
    ChangeBar,
    ChangePanel,
    draw_aquifer_page,
    round_frame,
    round_scale_frame,
)
from gwnet.figures.maps.context import MapContext
from gwnet.figures.maps.geometry import hull_share
from gwnet.figures.maps.high_low import draw_high_low
from gwnet.figures.maps.key_map import WellState, draw_key_map, key_height_mm
from gwnet.figures.maps.network_map import network_plot_data
from gwnet.figures.series.gradient_sector import draw_gradient_block
from gwnet.figures.series.rose import RosePoint, rose_plot_data
from gwnet.figures.series.threshold_lanes import (
    BEYOND,
    NOT_BEYOND,
    CrossingChart,
    ThresholdRow,
    draw_threshold_lanes,
    lanes_height_mm,
)

from . import frames
from .frames import SITE
from .measure import beyond_page, collisions, texts_of, words_of
from .test_surface_map import plot_data


def smallest(figure):
    return min(text.get_fontsize() for text, _ in texts_of(figure))


def changes(data, *, scale=1.0):
    points = [point for point in data.points if point.placed]
    return tuple(
        ChangeBar(point.name, point.x, point.y, scale * (0.1 + 0.01 * n), n % 4 != 0, point.used)
        for n, point in enumerate(points)
    )


@pytest.mark.parametrize("height", [229.0, 211.0])
@pytest.mark.parametrize("unit", ["m", "ft"])
def test_the_page_of_an_aquifer_is_legible(height, unit):
    data = plot_data(count=20, unit=unit)
    panels = (ChangePanel("Change since May", changes(data), f"0.02 {unit}"), ChangePanel("Change", refused="None."))
    notes = (("Levels", "of one day; " * 12), ("Surface", "kriging"))
    figure = draw_aquifer_page(AquiferPage(data, panels, notes), size_mm=(174.0, height))
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    assert smallest(figure) >= 7.0
    words = " ".join(words_of(figure))
    assert "1 : " in words
    assert "Change since May" in words


def test_a_note_without_room_ends_with_a_whole_sentence():
    notes = (("Levels", "All were read. " * 6), ("Surface", "The first is short. " + "The others go on and on. " * 80))
    words = words_of(draw_aquifer_page(AquiferPage(plot_data(count=12), (), notes), size_mm=(174.0, 211.0)))
    assert not any("…" in word for word in words)
    text = " ".join(words)
    assert "The first is short." in text
    assert 0 < text.count("The others go on and on.") < 80


def test_the_map_has_a_round_scale_and_its_control_fills_a_quarter_of_an_oblong_frame():
    data = plot_data(count=20)
    panel = Box(0.0, 0.0, 174.0, 140.0)
    frame, denominator = round_frame(panel, data)
    mantissa = denominator / 10 ** np.floor(np.log10(denominator))
    assert any(mantissa == pytest.approx(one) for one in (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 8))
    assert 1000.0 / frame.mm_per_unit == pytest.approx(denominator)
    used = np.array([(point.x, point.y) for point in data.points if point.used])
    assert hull_share(frame.to_mm(used), panel.width * panel.height) >= 0.25
    assert ((frame.to_mm(used) >= 0) & (frame.to_mm(used) <= (174.0, 140.0))).all()


def test_a_scale_that_just_holds_the_points_is_the_largest_round_one():
    frame, denominator = round_scale_frame(Box(0, 0, 116.0, 116.0), np.array([(0.0, 0.0), (1000.0, 1000.0)]), 1.0)
    assert denominator == 10_000.0  # 1000 m on 100 mm
    assert frame.mm_per_unit == pytest.approx(0.1)


def test_bars_of_many_wells_are_slim_and_have_numbers_only_beside_them():
    """Bars and leaders of 185 wells hid each other in a panel of 35 mm."""

    def widths_and_numbers(count):
        x, y = frames.scattered(count, 3, 900.0)
        bars = tuple(ChangeBar(f"W-{n}", float(x[n]), float(y[n]), -0.1 - 0.001 * n, True) for n in range(count))
        page = AquiferPage(
            plot_data(count=12), (ChangePanel("Change since May", bars), ChangePanel("Change", refused="No."))
        )
        figure = draw_aquifer_page(page, size_mm=(174.0, 229.0))
        assert collisions(figure) == []
        patches = [patch for axes in figure.axes for patch in axes.patches if hasattr(patch, "get_width")]
        return {round(patch.get_width(), 3) for patch in patches}, sum(
            word.startswith("−0.") for word in words_of(figure)
        )

    assert 1.9 in widths_and_numbers(20)[0]
    widths, numbers = widths_and_numbers(120)
    assert 0.8 in widths
    assert 1.9 not in widths
    assert 5 < numbers < 60


def test_pumped_wells_have_their_rate_and_are_named_in_the_key():
    data = plot_data(count=12)
    points = (replace(data.points[5], name="P-1 pumps 90 m³/d", rate="90 m³/d"), *data.points[6:])
    figure = draw_aquifer_page(AquiferPage(replace(data, points=points)), size_mm=(174.0, 150.0))
    assert {"P-1 pumps 90 m³/d", "pumped well"} <= set(words_of(figure))


def test_high_and_low_water_have_one_scale_and_name_the_wells_drawn_below():
    high, low = plot_data(count=14), plot_data(count=14, seed=3)
    heads = (("High water, 11 February", "0.002"), ("Low water, 11 November", "0.001"))
    named = {high.points[6].name}
    figure = draw_high_low((high, low), heads, named=named, size_mm=(174.0, 92.0))
    words = words_of(figure)
    assert "High water, 11 February" in words
    assert sum(word.startswith(f"{high.points[6].name} ") for word in words) == 2
    assert smallest(figure) >= 7.0


def key_data(count=14):
    x, y = frames.scattered(count, 5, 900.0)
    wells = [
        {"well": f"GW-{n:02d}", "aquifer": "A1" if n % 2 else "A2", "cluster": "", "easting": x[n], "northing": y[n]}
        for n in range(count)
    ]
    import pandas as pd

    return network_plot_data(pd.DataFrame(wells), MapContext(SITE))


def test_the_key_map_shows_states_rates_and_its_key():
    data = key_data()
    states = {"GW-03": WellState(("beyond", "unjudged"), ("low", "stop"))}
    pumped = {"GW-04": "2 150 m³/d"}
    figure = draw_key_map(data, states=states, pumped=pumped, size_mm=(174.0, 104.0))
    words = set(words_of(figure))
    assert {"GW-03 low, stop", "GW-04 pumps", "2 150 m³/d", "threshold crossed", "cannot be judged", "?"} <= words
    assert "beyond, not yet confirmed" not in words
    assert collisions(figure) == []
    assert key_height_mm(data, states, pumped) < 104.0


def test_only_the_well_that_pumps_is_said_to_pump_where_another_shares_its_place():
    """The key map of a Letter page said of a pumped well and its neighbour that they pump."""
    data = key_data()
    wells = [
        replace(well, x=data.wells[3].x + 1.0, y=data.wells[3].y) if n == 4 else well
        for n, well in enumerate(data.wells)
    ]
    data = replace(data, wells=tuple(wells))
    figure = draw_key_map(data, states={}, pumped={wells[4].name: "2 150 m³/d"}, size_mm=(174.0, 104.0))
    assert {f"{wells[4].name} pumps", "2 150 m³/d", wells[3].name} <= set(words_of(figure))


def row(name, mark, states):
    days = np.arange(20_000.0, 20_000.0 + len(states))
    return ThresholdRow(
        mark=mark,
        well=name,
        name="warning",
        level="below 51.900 m",
        notes=("Permit.", "Tell the operator."),
        state="Crossed",
        sentences=("3 of 5 readings beyond, from May to June.", "Lowest 51.870 m, 0.030 m beyond."),
        days=days,
        day_states=np.array(states, dtype=object),
        readings=days[::30] + 0.5,
        reading_states=np.array(states[::30], dtype=object),
    )


def test_lanes_draw_runs_of_days_and_charts_of_crossings_without_meeting_texts():
    states = [NOT_BEYOND] * 200 + [BEYOND] * 60 + [NOT_BEYOND] * 100
    rows = [row("W-1", "beyond", states), row("W-2", "unconfirmed", states), row("W-3", "unjudged", states[:100])]
    days = np.arange(20_150.0, 20_330.0)
    values = 52.0 - 0.3 * np.exp(-(((days - 20_230.0) / 20.0) ** 2))
    chart = CrossingChart(
        "W-1", "sand", "warning 51.9 m", 51.9, False, days, values, values - 0.01, days[::40], values[::40]
    )
    figure = draw_threshold_lanes(
        rows, (chart,), span=(19_990.0, 20_360.0), period=(20_200.0, 20_290.0), closes=20_280.0, unit="m"
    )
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    assert {"logger day beyond", "logger day not beyond", "reading beyond", "Crossed", "?"} <= set(words_of(figure))
    heights = [patch.get_height() for patch in figure.axes[0].patches if 0 < patch.get_width() < 300]
    assert sorted({round(height, 1) for height in heights if height < 10}) == [1.0, 3.0]
    without = draw_threshold_lanes(
        rows, (chart,), span=(19_990.0, 20_360.0), period=(20_200.0, 20_290.0), closes=20_280.0, unit="m", room_mm=80.0
    )
    assert without.get_size_inches()[1] * 25.4 == pytest.approx(lanes_height_mm(rows))


@pytest.mark.parametrize("rises", [True, False])
@pytest.mark.parametrize("is_upper", [True, False])
def test_the_name_of_a_threshold_keeps_off_the_levels(is_upper, rises):
    """A level that reached its lower threshold at the end of the year ran through the name."""
    days = np.arange(20_000.0, 20_360.0)
    rows = [row("N1-L", "beyond", [NOT_BEYOND] * 360)]
    wave = np.cos(2 * np.pi * (days - 20_000.0) / 720.0)
    level = 54.2
    values = level + (0.5 * wave + 0.45 if rises else -0.5 * wave - 0.45)
    chart = CrossingChart(
        "N1-L", "Lower sand", "warning 54.213 m", level, is_upper, days, values, values, np.array([]), np.array([])
    )
    figure = draw_threshold_lanes(
        rows, (chart,), span=(19_990.0, 20_360.0), period=(20_000.0, 20_360.0), closes=20_360.0, unit="m"
    )
    name = next(text for text, _ in texts_of(figure) if text.get_text() == chart.name)
    box = name.get_window_extent(figure.canvas.get_renderer())
    curve = name.axes.transData.transform(np.column_stack([days, values]))
    inside = (curve[:, 0] > box.x0) & (curve[:, 0] < box.x1) & (curve[:, 1] > box.y0) & (curve[:, 1] < box.y1)
    assert not inside.any()
    assert not box.y0 <= name.axes.transData.transform((20_000.0, level))[1] <= box.y1


@pytest.mark.parametrize(("middle", "spread"), [(135.0, 8.0), (359.0, 6.0), (90.0, 170.0)])
def test_a_sector_of_gradients_is_labelled_wherever_it_lies(middle, spread):
    days = [dt.date(2020 + n // 4, 2 + 3 * (n % 4), 17) for n in range(20)]
    points = [
        RosePoint(
            f"R{n}", day, 0.003 + 0.0001 * (n % 5), 0.0003, (middle + spread * np.sin(n)) % 360, 6.0, True, n == 4
        )
        for n, day in enumerate(days)
    ]
    data = rose_plot_data(points, title="Gradients", middle_deg=middle, concentration=0.9)
    figure = draw_gradient_block(data, period=(day_number(days[-1]) - 40, day_number(days[-1]) + 40))
    words = words_of(figure)
    assert "Nov 2024" in words
    assert sum(word.endswith("°") and word[:-1].isdigit() for word in words) >= 2
    assert beyond_page(figure) == []
    assert smallest(figure) >= 7.0


@pytest.mark.parametrize("rounds", [3, 5, 9])
def test_dates_under_gradients_of_few_rounds_are_clear_of_the_key(rounds):
    """The years under the months stood on the words of the key."""
    days = [dt.date(2024 + (n + 3) // 4, (11, 2, 5, 8)[n % 4], 11) for n in range(rounds)]
    points = [RosePoint(f"R{n}", day, 0.004, 0.0001, 103.0 + n % 2, 1.0, True, False) for n, day in enumerate(days)]
    data = rose_plot_data(points, title="Gradients", middle_deg=103.0, concentration=0.9)
    figure = draw_gradient_block(data, period=(day_number(days[-1]) - 40, day_number(days[-1]) + 40))
    assert collisions(figure) == []
    assert beyond_page(figure) == []
