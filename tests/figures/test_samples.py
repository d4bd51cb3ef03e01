"""The figure of stored samples of loggers."""

import numpy as np

from gwnet.figures.series.samples import SamplePanel, draw_samples, thin_samples


def test_a_gap_breaks_the_line_and_few_samples_stay_all():
    days = np.array([0.0, 1, 2, 3, 9, 10, 11])
    values = np.arange(7.0)
    shown_days, shown = thin_samples(days, values)
    assert np.flatnonzero(np.isnan(shown)).tolist() == [4]
    np.testing.assert_array_equal(shown[~np.isnan(shown)], values)
    np.testing.assert_array_equal(shown_days[~np.isnan(shown_days)], days)


def test_of_many_samples_the_least_and_greatest_of_each_column_stay():
    days = np.arange(100_000) / 96
    values = np.sin(days)
    values[54_321] = 40.0
    values[77_777] = -40.0
    gone = np.ones(days.shape, dtype=bool)
    gone[60_000:62_000] = False
    shown_days, shown = thin_samples(days[gone], values[gone], columns=500)
    assert shown.size <= 2 * 500 + 1
    assert (np.nanmax(shown), np.nanmin(shown)) == (40.0, -40.0)
    breaks = np.flatnonzero(np.isnan(shown_days))
    assert breaks.size == 1
    assert shown_days[breaks[0] - 1] < 60_000 / 96 <= shown_days[breaks[0] + 1]


def test_each_series_has_a_panel_with_its_unit():
    days = np.arange(48) / 24 + 20_000
    panels = [
        SamplePanel("L: water temperature", "degC", days, np.full(48, 9.5)),
        SamplePanel("L: battery", "V", days, np.where(np.arange(48) % 7, 3.6, np.nan)),
    ]
    figure = draw_samples(panels, ["No correction is applied."])
    assert [axes.get_ylabel() for axes in figure.axes] == ["degC", "V"]
    assert all(axes.lines for axes in figure.axes)
    texts = " ".join(text.get_text() for text in figure.texts)
    assert "Samples as they are in the files" in texts
    assert "No correction is applied." in texts
