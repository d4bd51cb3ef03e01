"""The figure of stored samples."""

import pandas as pd
import pytest

from gwnet.errors import NotFoundError
from gwnet.products.logger_samples import samples_figure


def table(quantities):
    times = pd.date_range("2024-01-01", periods=48, freq="h", tz="UTC").as_unit("us")
    wells = [""] * 6 + ["W"] * 6 + ["V"] * 36
    facts = {"instrument": "L", "well": wells, "unit": "V", "time_utc": times, "value": [float(n) for n in range(48)]}
    return pd.concat([pd.DataFrame({**facts, "quantity": name}) for name in quantities], ignore_index=True)


def test_the_figure_has_a_panel_a_series_and_none_without_samples():
    figure = samples_figure(table(["conductivity", "battery"]))
    assert len(figure.axes) == 2
    assert "L in W, V: conductivity" in [text.get_text() for text in figure.texts]
    with pytest.raises(NotFoundError, match="No sample"):
        samples_figure(table(["battery"])[:0])


def test_series_beyond_the_most_of_a_figure_are_counted():
    figure = samples_figure(table([f"q{number}" for number in range(27)]))
    assert len(figure.axes) == 24
    assert any("3 more series are not drawn." in text.get_text() for text in figure.texts)
