"""Seasonal envelopes and decompositions: what they show, as numbers, and how they look, measured by the renderer."""

import math

import numpy as np
import pandas as pd
import pytest

from gwnet.errors import AnalysisError, SettingsError
from gwnet.figures.base.panel import centred_limits
from gwnet.figures.series.decomposition import decomposition_plot_data, draw_decomposition, panel_heights_mm
from gwnet.figures.series.seasons import draw_seasons, seasons_pages, seasons_plot_data
from gwnet.figures.series.seasons_data import BANDS, MONTH_STARTS

from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, words_of

SUMMARY = {
    "newest": "2025-08-20",
    "newest_bound": "",
    "newest_m": 47.25,
    "percentile": 30.0,
    "percentile_lower": 30.0,
    "percentile_upper": 30.0,
    "percentile_years": 12,
    "first": "2014-02-10",
    "last": "2025-08-20",
    "left_out": "",
}


def statistics(well="GW-01", months=range(1, 13), years=12, **columns):
    """Return rows of months whose statistics are 47, 47.1, … 47.6."""
    frame = pd.DataFrame({"site": "SAND", "well": well, "month": list(months), "years": years, "at_or_below": ""})
    for i, name in enumerate(BANDS):
        frame[f"{name}_m"] = 47.0 + 0.1 * i
    for name, values in columns.items():
        frame[name] = values
    return frame


def levels(well="GW-01", days=("2024-02-10", "2024-05-10", "2025-02-10", "2025-08-20"), dry=()):
    frame = pd.DataFrame({"site": "SAND", "well": well, "day": pd.to_datetime(list(days)), "high": 47.25})
    return frame.assign(low=[-np.inf if day in dry else 47.25 for day in days])


def data_of(statistic=None, level=None, **options):
    summary = SUMMARY | options.pop("summary", {})
    return seasons_plot_data(
        statistics() if statistic is None else statistic,
        levels() if level is None else level,
        "GW-01",
        summary=summary,
        site=SITE,
        known_on=KNOWN_ON,
        **options,
    )


def test_the_newest_year_and_the_one_before_are_drawn_by_their_days():
    data = data_of()
    assert (data.newest_year.year, data.year_before.year) == (2025, 2024)
    assert data.newest_year.days.tolist() == [31 + 9.5, MONTH_STARTS[7] + 19.5]
    assert data.year_before.days.tolist() == [31 + 9.5, MONTH_STARTS[4] + 9.5]
    assert data_of(level=levels(days=["2025-08-20"])).year_before is None


def test_the_newest_level_is_stated_with_its_percentile():
    assert data_of().newest_text == "2025-08-20: 47.250 m, percentile 30 of 12 years in Aug"
    assert data_of(unit="ft").newest_text.startswith("2025-08-20: 155.02 ft, percentile 30")
    none = data_of(summary={"percentile": math.nan, "percentile_years": 1})
    assert none.newest_text.endswith("no percentile (1 year with a level in Aug)")
    spread = data_of(summary={"percentile_lower": 20.0, "percentile_upper": 40.0, "newest_bound": "<="})
    assert "≤ 47.250 m, percentile 30 (bounds leave 20 to 40)" in spread.newest_text


def test_statistics_that_are_bounds_are_marked():
    data = data_of(statistics(at_or_below="minimum p10"))
    assert data.open_below[0].tolist() == [True, True, False, False, False, False, False]
    assert any("≤" in note for note in data.notes)
    assert "≤" in words_of(draw_seasons(data))
    assert not any("≤" in note for note in data_of().notes)


def test_the_caption_says_period_definition_and_what_was_left_out():
    text = " ".join(data_of(definition="linear", least_years=8, summary={"left_out": "2 pumping"}).notes)
    assert "2014-02-10 to 2025-08-20" in text
    assert "interpolated from the lowest value" in text
    assert "fewer than 8 years" in text
    assert "Left out: 2 pumping." in text
    assert "Record as known on 2026-04-07 09:30:00 UTC (state 3)." in text


def test_the_axis_says_unit_and_datum_and_months_their_years():
    words = words_of(draw_seasons(data_of(statistics(months=[2, 5, 8], years=[12, 11, 9]))))
    assert "Water elevation [m]" in words
    assert "above local datum 1987" in words
    assert words.count("–") == 9
    assert {"12", "11", "9"} <= set(words)
    assert "Water elevation [ft]" in words_of(draw_seasons(data_of(unit="ft")))


def test_months_with_too_few_years_show_their_range_alone():
    few = statistics(**{f"p{p}_m": np.nan for p in (10, 25, 50, 75, 90)})
    words = words_of(draw_seasons(data_of(few)))
    assert "lowest to highest" in words
    assert "median" not in words


def test_a_dry_newest_level_has_its_mark_in_words():
    data = data_of(level=levels(dry=["2025-08-20"]), summary={"newest_bound": "<="})
    assert data.newest_year.bound.tolist() == [0, -1]
    words = words_of(draw_seasons(data))
    assert "dry: at or below" in words
    assert any(text.startswith("newest level 2025-08-20: ≤ 47.250 m") for text in words)


@pytest.mark.slow
@pytest.mark.parametrize("unit", ["m", "ft"])
def test_nothing_collides_or_leaves_the_page(unit):
    wells = [data_of(unit=unit)] * 4
    pages = seasons_pages(wells)
    assert len(pages) == 2
    for page in pages:
        assert collisions(page) == []
        assert beyond_page(page) == []
    one = draw_seasons(data_of(unit=unit, summary={"left_out": "; ".join(["3 quality suspect"] * 12)}))
    assert collisions(one) == []
    assert beyond_page(one) == []


def well_of(name, lowest):
    return seasons_plot_data(
        statistics(name, minimum_m=lowest), levels(name), name, summary=SUMMARY, site=SITE, known_on=KNOWN_ON
    )


def test_wells_of_a_group_have_one_height_unless_one_needs_more():
    pages = seasons_pages([well_of("A", 46.5), well_of("B", 46.9), well_of("C", 45.8), well_of("D", 30.0)])
    axes = [one for page in pages for one in page.axes]
    heights = [round(one.get_ylim()[1] - one.get_ylim()[0], 6) for one in axes]
    assert len(set(heights[:3])) == 1
    assert heights[3] > heights[0]
    assert any("not on the scale of the other wells" in text for text in words_of(pages[1]))
    assert not any("not on the scale" in text for text in words_of(pages[0]))


def test_a_well_without_levels_and_another_unit_are_refused():
    with pytest.raises(AnalysisError):
        data_of(level=levels("B"))
    with pytest.raises(SettingsError):
        data_of(unit="cm")


@pytest.mark.parametrize(
    ("low", "high", "height"), [(47.0, 47.6, 0.7), (-3.2, 4.9, 9.0), (0.0, 0.0, 0.5), (1.0, 9.0, 2.0)]
)
def test_an_axis_holds_its_levels_at_round_ends(low, high, height):
    below, above = centred_limits(low, high, height)
    assert below <= low <= high <= above
    assert above - below >= height - 1e-9


def parts(count=48, filled=(), period=12):
    """Return the frame of a decomposition whose trend spans 1 m, the season 0.4 m and the remainder 0.1 m."""
    t = np.arange(count)
    trend, seasonal = 47.0 + t / (count - 1), 0.2 * np.sin(2 * np.pi * t / period)
    remainder = 0.05 * (-1.0) ** t
    months = np.datetime_as_string(np.datetime64("2020-01") + t * (12 // period), unit="M")
    return pd.DataFrame(
        {
            "month": months,
            "observed_m": trend + seasonal + remainder,
            "filled": np.isin(t, filled),
            "trend_m": trend,
            "seasonal_m": seasonal,
            "remainder_m": remainder,
            "weight": np.where(t == 7, 0.0, 1.0),
        }
    )


def decomposition_of(**options):
    frame = parts(filled=[3, 4], period=options.get("period", 12))
    return decomposition_plot_data(frame, "GW-01", **({"period": 12, "site": SITE, "known_on": KNOWN_ON} | options))


def test_the_parts_of_a_decomposition_are_on_one_scale():
    figure = draw_decomposition(decomposition_of())
    heights = [axes.get_position().height / (axes.get_ylim()[1] - axes.get_ylim()[0]) for axes in figure.axes]
    assert len(heights) == 4
    assert heights == pytest.approx([heights[0]] * 4, rel=1e-6)


def test_a_decomposition_says_what_was_filled_and_in_which_unit():
    data = decomposition_of(unit="ft", notes=["2 months filled."], period=12)
    assert data.filled.sum() == 2
    assert data.parts["trend"][0] == pytest.approx(47.0 / 0.3048)
    words = words_of(draw_decomposition(data))
    assert "no level: filled for the decomposition" in words
    assert "does not fit: nearly without weight" in words
    assert "trend [ft]" in words
    assert "2 months filled." in " ".join(data.notes)
    plain = decomposition_plot_data(parts(), "GW-01", period=12, robust=False, site=SITE)
    assert "does not fit: nearly without weight" not in words_of(draw_decomposition(plain))
    assert "robust" not in " ".join(plain.notes)


def test_steps_stand_in_the_middle_of_their_time():
    months, quarters = decomposition_of(), decomposition_of(period=4)
    assert months.days[0] == pytest.approx(18262 + 15.2, abs=0.1)
    assert quarters.days[0] == pytest.approx(18262 + 45.7, abs=0.1)
    assert "in every quarter" in quarters.notes[0]


def test_a_decomposition_keeps_within_its_page():
    figure = draw_decomposition(decomposition_of(notes=["A long note on what was filled in."] * 6))
    assert collisions(figure) == []
    assert beyond_page(figure) == []


def test_panels_fill_the_room_on_one_scale():
    heights, scale = panel_heights_mm([10.0, 5.0, 1.0, 0.1], 100.0, least_mm=10.0)
    assert sum(heights) == pytest.approx(100.0)
    assert heights[2:] == [10.0, 10.0]
    assert heights[0] / 10.0 == pytest.approx(heights[1] / 5.0)
    assert heights[0] == pytest.approx(10.0 * scale)
    same, _ = panel_heights_mm([0.0, 0.0], 40.0)
    assert sum(same) <= 40.0 + 1e-9
