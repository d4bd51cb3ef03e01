"""Chart of coverage: what it shows as numbers, and what stands where when it is drawn."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from gwnet.errors import SettingsError
from gwnet.figures.base import style
from gwnet.figures.coverage.data import drawn_runs
from gwnet.figures.coverage.draw import ROWS_A_PAGE, coverage_pages, coverage_plot_data, draw_coverage

from .frames import KNOWN_ON, SITE
from .measure import beyond_page, collisions, texts_of, words_of


def at(text):
    return pd.Timestamp(text, tz="UTC") if text else pd.NaT


def deployments(*rows):
    columns = ("well", "instrument", "installed_at_utc", "removed_at_utc")
    return pd.DataFrame([(well, code, at(since), at(until)) for well, code, since, until in rows], columns=columns)


def runs(*rows):
    columns = ("well", "instrument", "start_utc", "end_utc", "left_out")
    return pd.DataFrame([(well, code, at(a), at(b), out) for well, code, a, b, out in rows], columns=columns)


def hands(*rows):
    return pd.DataFrame([(well, at(when)) for well, when in rows], columns=("well", "measured_at_utc"))


HUNG = deployments(
    ("", "B-1", "2024-01-01", None),
    ("GW-01", "S-1", "2024-01-01", "2024-07-01"),
    ("GW-01", "S-2", "2024-07-01", None),
)
RUNS = runs(
    ("", "B-1", "2024-01-01", "2025-01-01", False),
    ("GW-01", "S-1", "2024-01-01", "2024-04-01", False),
    ("GW-01", "S-1", "2024-04-01T02:00", "2024-05-01", True),
    ("GW-01", "S-2", "2024-07-01", "2024-12-31", False),
)
READ = hands(("GW-01", "2024-01-05"), ("GW-02", "2024-06-01"), ("GW-03", "2019-06-01"))


def test_rows_stand_in_order_and_only_where_there_is_something_to_show():
    data = coverage_plot_data(HUNG, RUNS, READ, site=SITE, known_on=KNOWN_ON)
    assert [(row.well, row.instrument) for row in data.rows] == [
        ("", "B-1"),
        ("GW-01", "S-1"),
        ("GW-01", "S-2"),
        ("GW-02", ""),
    ]
    assert [len(row.hands) for row in data.rows] == [0, 1, 1, 1]
    assert "as known on 2026-04-07 09:30:00 UTC (state 3)" in data.notes[-1]


def test_the_share_is_of_the_time_hung_and_of_used_samples():
    data = coverage_plot_data(HUNG, RUNS, READ, site=SITE)
    shares = {row.instrument: row.share for row in data.rows}
    assert shares["B-1"] == pytest.approx(1.0)
    assert shares["S-1"] == pytest.approx(91 / 182, abs=1e-3)
    # hangs until the newest sample of all, of the barometer on 1 January 2025
    assert shares["S-2"] == pytest.approx(183 / 184, abs=1e-3)
    assert np.isnan(shares[""])
    assert [row.share_text for row in data.rows] == ["100 %", "50 %", "99 %", ""]


def test_the_share_is_100_only_where_nothing_is_missing():
    nearly = runs(("W", "S", "2020-01-01", "2022-01-01", False), ("W", "S", "2022-01-01T04:00", "2024-01-01", False))
    data = coverage_plot_data(deployments(("W", "S", "2020-01-01", "2024-01-01")), nearly, site=SITE)
    assert data.rows[0].share_text == ">99 %"


def test_an_axis_that_is_asked_for_cuts_what_lies_beyond():
    data = coverage_plot_data(HUNG, RUNS, READ, site=SITE, start=dt.date(2024, 3, 1), end=dt.date(2024, 3, 31))
    assert [row.instrument for row in data.rows] == ["B-1", "S-1"]
    for row in data.rows:
        assert row.runs.tolist() == [[data.first, data.last]]
        assert row.share == pytest.approx(1.0)
    with pytest.raises(SettingsError, match="before its start"):
        coverage_plot_data(HUNG, RUNS, site=SITE, start=dt.date(2024, 3, 1), end=dt.date(2024, 2, 1))


def test_every_gap_can_be_seen_however_short():
    short = np.array([[0.0, 10.0], [10.01, 20.0], [25.0, 25.0], [25.6, 25.9], [26.0, 40.0]])
    drawn = drawn_runs(short, 0.5)
    assert drawn[:, 0].tolist() == short[:, 0].tolist()
    assert (drawn[1:, 0] - drawn[:-1, 1]).tolist() == pytest.approx([0.5, 5.0, 0.475, 0.2])
    assert (drawn[:, 1] - drawn[:, 0]).tolist() == pytest.approx([9.51, 9.99, 0.125, 0.2, 14.0])


def test_a_gap_of_one_hour_in_ten_years_is_a_pixel_that_is_not_blue():
    hung = deployments(("GW-01", "S-1", "2014-01-01", "2024-01-01"))
    whole = runs(("GW-01", "S-1", "2014-01-01", "2024-01-01", False))
    broken = runs(
        ("GW-01", "S-1", "2014-01-01", "2019-01-01", False),
        ("GW-01", "S-1", "2019-01-01T02:00", "2024-01-01", False),
    )
    bright = []
    for table in (whole, broken):
        figure = draw_coverage(coverage_plot_data(hung, table, site=SITE))
        figure.set_dpi(style.PNG_DPI)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        pixels = np.asarray(canvas.buffer_rgba())[:, :, :3].astype(int)
        blue = np.array([int(style.SERIES[i : i + 2], 16) for i in (1, 3, 5)])
        same = np.abs(pixels - blue).max(axis=2) < 3
        line = int(np.argmax(same.sum(axis=1)))
        inside = np.flatnonzero(same[line])
        bright.append(int((~same[line, inside[0] : inside[-1]]).sum()))
    assert bright[0] == 0
    assert bright[1] >= 1


def test_what_is_left_out_is_stated_without_colour():
    figure = draw_coverage(coverage_plot_data(HUNG, RUNS, READ, site=SITE))
    assert [patch.hatching for patch in figure.axes[0].patches] == ["strokes"]


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 7, 90])
def test_no_text_meets_another_or_leaves_the_page_with_few_and_many_wells(count):
    wells = [f"Monitoring well {number:03d} of the lower field" for number in range(count)]
    hung = deployments(*((well, f"logger {well[-3:]}", "2020-01-01", None) for well in wells))
    sampled = runs(*((well, f"logger {well[-3:]}", "2020-01-01", "2024-01-01", False) for well in wells))
    figure = draw_coverage(coverage_plot_data(hung, sampled, READ, site=SITE, known_on=KNOWN_ON))
    assert collisions(figure) == []
    assert beyond_page(figure) == []


def many(count):
    """Return a chart of so many wells with a logger each, the fifth of them with two."""
    names = [f"Monitoring well {number:03d} of the lower field, nest {number % 3}" for number in range(count)]
    rows = [(well, f"logger {place:03d}", "2020-01-01", None) for place, well in enumerate(names)]
    rows.insert(5, (names[5], "logger 5-b", "2020-06-01", None))
    hung = deployments(*rows)
    return coverage_plot_data(hung, runs(), READ.iloc[:0], site=SITE, known_on=KNOWN_ON)


@pytest.mark.slow
def test_pages_carry_each_row_once_and_loggers_of_a_well_together():
    data = many(600)
    pages = coverage_pages(data)
    assert len(pages) == -(-601 // ROWS_A_PAGE)
    assert [row for page in pages for row in page.rows] == list(data.rows)
    assert all(len(page.rows) <= ROWS_A_PAGE for page in pages)
    assert {(page.first, page.last) for page in pages} == {(data.first, data.last)}
    pair = coverage_pages(data, 6)
    (held,) = [page for page in pair if any(row.instrument == "logger 5-b" for row in page.rows)]
    assert sum(row.well == data.rows[5].well for row in held.rows) == 2
    assert len(coverage_pages(many(9))) == 1
    assert [len(page.rows) for page in coverage_pages(data, 1)] == [1] * 601


def test_a_page_is_readable_and_wells_of_one_name_can_be_told_apart():
    page = coverage_pages(many(80))[1]
    figure = draw_coverage(page)
    assert collisions(figure) == []
    assert beyond_page(figure) == []
    height = float(figure.get_size_inches()[1]) * 25.4
    assert height < 257.0, "higher than A4 less its margins"
    assert min(text.get_fontsize() for text, _ in texts_of(figure)) >= 7.0
    names = [text.get_text() for text, _ in texts_of(figure) if " lower field" in text.get_text()]
    assert len(set(names)) == len(names) == len(page.rows)
    assert "page 2 of 3" in " ".join(words_of(figure))


def test_the_key_names_what_is_drawn_and_nothing_else():
    words = words_of(draw_coverage(coverage_plot_data(HUNG, RUNS, READ, site=SITE)))
    assert {"samples in use", "samples left out", "sensor installed", "manual reading"} <= set(words)
    bare = words_of(draw_coverage(coverage_plot_data(HUNG.iloc[:0], RUNS.iloc[:0], READ, site=SITE)))
    assert "manual reading" in bare
    assert "sensor installed" not in bare


def test_an_empty_record_says_so():
    nothing = coverage_plot_data(HUNG.iloc[:0], RUNS.iloc[:0], site=SITE)
    assert nothing.rows == ()
    assert "No logger and no reading on record." in words_of(draw_coverage(nothing))


def test_the_same_chart_gives_the_same_bytes():
    data = coverage_plot_data(HUNG, RUNS, READ, site=SITE)
    assert style.figure_bytes(draw_coverage(data), "pdf") == style.figure_bytes(draw_coverage(data), "pdf")
