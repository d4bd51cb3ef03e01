"""Strips of hydrographs: one scale for all, offsets of their own, and what stands under them."""

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from gwnet.figures.base.axes import day_number
from gwnet.figures.hydrograph.context_strips import context_strips, rounded
from gwnet.figures.hydrograph.data import hydrograph_plot_data
from gwnet.figures.hydrograph.logger_line import LoggerLine
from gwnet.figures.hydrograph.strip_data import (
    choose_strip_scale,
    current_thresholds,
    scale_text,
    strip_extent,
    strip_window,
)
from gwnet.figures.hydrograph.strips import CrossingBar, _newest, draw_strips, fitting_strip_mm, strips_height_mm

from . import frames
from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, texts_of, words_of
from .test_hydrograph import rich


def well(name, *, base=47.5, amplitude=0.7, limits=(), count=40, unit="m", wells=None):
    dates, elevations = frames.quarterly(count, base=base, amplitude=amplitude)
    return hydrograph_plot_data(
        frames.levels(name, dates, elevations),
        name,
        site=SITE,
        thresholds=frames.thresholds(name, *limits) if limits else None,
        wells=wells,
        known_on=KNOWN_ON,
        unit=unit,
    )


def test_the_widest_strip_chooses_the_scale_and_it_is_a_round_one():
    calm, lively = well("A", amplitude=0.2), well("B", amplitude=0.7)
    low, high = strip_extent(lively)
    scale = choose_strip_scale([calm, lively], 27.0)
    assert scale == pytest.approx(0.6)  # 1.4 m and a twentieth on either side on 2.7 cm: 0.576 m a cm
    assert (high - low) / (1 - 2 * 0.05) <= scale * 2.7
    assert choose_strip_scale([calm], 27.0) == pytest.approx(0.3)  # none finer
    assert scale_text(scale, "m") == "0.6 m a centimetre"


def test_a_well_that_ranges_far_wider_than_the_others_does_not_flatten_them():
    usual = [well(name, amplitude=0.5) for name in "ABC"]
    assert choose_strip_scale([*usual, well("P", amplitude=6.0)], 27.0) == choose_strip_scale(usual, 27.0)


def test_windows_have_one_height_and_begin_at_a_tenth():
    for base in (47.5, 12.33, 300.07):
        low, high = strip_window(well("A", base=base), 0.7, 27.0)
        assert high - low == pytest.approx(0.7 * 2.7)
        assert low * 10 == pytest.approx(round(low * 10), abs=1e-6)
        assert low < base - 0.7
        assert high > base + 0.7


def test_a_threshold_comes_into_view_where_it_fits_and_is_named_off_scale_elsewhere():
    near, far = ("warning", "lower", 46.75, None), ("stop", "lower", 44.0, None)
    data = well("A", amplitude=0.5, limits=(near, far))
    low, high = strip_window(data, 0.7, 27.0)
    assert low < 46.75 < high
    assert [line.label for line in current_thresholds(data)] == ["warning", "stop"]
    words = words_of(draw_strips([data], metres_per_cm=0.7, width_mm=174.0))
    assert {"warning 46.750", "stop 44.000, off scale"} <= set(words)


def test_a_full_page_of_strips_has_no_text_over_text_and_nothing_beyond_its_edge():
    wells = [rich(), *(well(f"GW-{number:02d}", base=40.0 + number) for number in range(2, 7))]
    first, last = min(one.first for one in wells), max(one.last for one in wells)
    context = context_strips(frames.rainfall(), None, first=first, last=last)
    figure = draw_strips(wells, metres_per_cm=0.7, width_mm=174.0, context=context, period=(last - 90, last))
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    assert min(text.get_fontsize() for text, _ in texts_of(figure)) >= 7.0
    height = strips_height_mm(wells, context, width_mm=174.0)
    assert figure.get_size_inches()[1] * 25.4 == pytest.approx(height)
    assert {"GW-01", "GW-06", "rainfall"} <= set(words_of(figure))


def test_the_heading_of_a_strip_drops_cluster_and_construction_before_what_was_seen():
    """Days and values were cut at the margin."""
    data = replace(rich(), heading="Upper sand and gravel (upper) · cluster N2 of the eastern bank of the river")
    spread = replace(data, elevation_m=data.elevation_m + np.where(np.arange(data.elevation_m.size) % 9, 0.0, 9.0))
    heading = next(word for word in words_of(draw_strips([spread], metres_per_cm=0.7, width_mm=174.0)) if "off" in word)
    assert "cluster" not in heading
    assert heading.endswith("measuring point changed 2 times, last corrected 52.184 → 52.191 on 2018-07-01")


@pytest.mark.parametrize(("after", "words"), [(5.0, r"logger, \d+ [A-Z][a-z]+"), (900.0, r"logger, [A-Z][a-z]+ \d{4}")])
def test_the_newest_head_of_a_logger_is_named_with_day_or_year(after, words):
    """Day and year together were cut at the margin."""
    data = well("A")
    day = float(data.days[-1]) + 60.0
    line = LoggerLine(days=np.array([day]), elevation_m=np.array([47.512]), approved=np.array([True]))
    (label,) = _newest(replace(data, logger=line, last=day + after))
    assert re.fullmatch(rf"47\.512 {words}", label.text)


def test_strips_are_as_high_as_the_page_allows_and_no_higher():
    assert fitting_strip_mm(400.0, 6, 3) == 27.0
    strip = fitting_strip_mm(227.0, 6, 3)
    assert strip < 27.0
    wells = [well(f"W-{number}") for number in range(6)]
    first, last = wells[0].first, wells[0].last
    context = context_strips(frames.rainfall(), None, first=first, last=last)
    assert strips_height_mm(wells, [*context] * 3, width_mm=174.0, strip_mm=strip) <= 227.0


def test_days_and_readings_beyond_a_threshold_stand_under_their_strip():
    data = well("A")
    days = np.arange(data.last - 200, data.last)
    bar = CrossingBar(days, days > data.last - 50, np.array([data.last - 10]), np.array([True]), "beyond on 49 days")
    plain = draw_strips([data], metres_per_cm=0.7, width_mm=174.0)
    figure = draw_strips([data], metres_per_cm=0.7, width_mm=174.0, bars={"A": bar})
    assert "beyond on 49 days" in words_of(figure)
    assert figure.get_size_inches()[1] > plain.get_size_inches()[1]


def monthly(values, *, quantity="rainfall", unit="mm", series="gauge", start="2025-01-01"):
    dates = pd.date_range(start, periods=len(values), freq="MS")
    rows = [
        {"series": series, "quantity": quantity, "unit": unit, "date": day.date().isoformat(), "value": value}
        for day, value in zip(dates, values, strict=True)
    ]
    return pd.DataFrame(rows)


def test_a_month_that_is_not_over_when_the_record_closes_is_left_out():
    first, last = day_number(dt.date(2025, 1, 1)), day_number(dt.date(2025, 4, 1))
    frame = monthly([50.0, 40.0, 30.0])
    (whole,) = context_strips(frame, None, first=first, last=last)
    assert list(whole.value) == [50.0, 40.0, 30.0]
    (closed,) = context_strips(frame, None, first=first, last=last, known_until=dt.date(2025, 3, 9))
    assert list(closed.value) == [50.0, 40.0]
    assert closed.newest == "February 40"


def test_volumes_become_rates_and_wells_are_added_and_gauges_averaged():
    first, last = day_number(dt.date(2025, 1, 1)), day_number(dt.date(2025, 3, 1))
    pumped = pd.concat([monthly([3100.0, 2800.0], quantity="abstraction", unit="m3", series=name) for name in "PQ"])
    rain = pd.concat([monthly([10.0, 20.0], series="a"), monthly([30.0, 40.0], series="b")])
    strips = context_strips(pd.concat([pumped, rain]), None, first=first, last=last)
    assert [(strip.name, strip.unit, list(strip.value)) for strip in strips] == [
        ("rainfall, mean of 2 gauges", "mm a month", [20.0, 30.0]),
        ("abstraction of 2 wells", "m³/d", [200.0, 200.0]),
    ]
    assert rounded(1234567.0) == "1\u202f234\u202f567"


def test_stages_are_lines_between_rainfall_and_abstraction():
    first, last = day_number(dt.date(2025, 1, 1)), day_number(dt.date(2025, 3, 1))
    stages = pd.DataFrame(
        {
            "gauge": ["G-1", "G-1", "G-2"],
            "measured_at_utc": pd.to_datetime(["2025-01-05", "2025-02-05", "2025-02-06"], utc=True),
            "water_elevation_m": [51.0, 51.5, 50.25],
        }
    )
    frame = pd.concat([monthly([1.0, 2.0]), monthly([5.0, 6.0], quantity="abstraction", unit="m3/d")])
    rain, stage, pumped = context_strips(frame, stages, first=first, last=last, zone="UTC")
    assert (rain.look, stage.look, pumped.look) == ("bars", "lines", "steps")
    assert stage.newest == "G-1 51.50, G-2 50.25"
    assert list(pumped.value) == [5.0, 6.0]
