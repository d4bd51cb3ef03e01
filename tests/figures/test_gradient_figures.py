"""Roses of gradients and vertical gradients over time."""

import datetime as dt
import math

from gwnet.figures.series.rose import RosePoint, draw_rose, rose_plot_data
from gwnet.figures.series.vertical import VerticalPair, VerticalPlotData, VerticalPoint, draw_vertical

from .measure import beyond_page, words_of

DAYS = [dt.date(2025, month, 10) for month in (2, 5, 8, 11)]


def test_a_rose_names_the_rounds_that_are_not_determined():
    points = [RosePoint(f"R{i}", day, 0.002, 0.0003, 130.0 + i, 8.0, i != 2) for i, day in enumerate(DAYS)]
    data = rose_plot_data(points, title="Gradients", middle_deg=131.0, concentration=0.99)
    assert "4 rounds with a gradient, 3 of them determined" in data.notes[0].lines[0]
    (undetermined,) = [note for note in data.notes if "not determined" in note.title]
    assert undetermined.lines[0] == "R2."
    figure = draw_rose(data)
    assert "not determined (hollow)" in words_of(figure)
    assert beyond_page(figure) == []


def test_vertical_gradients_have_a_panel_a_pair_and_a_key():
    points = tuple(
        VerticalPoint(day, g, 0.001, abs(g) > 0.001) for day, g in zip(DAYS, (0.01, -0.01, 0.0, 0.02), strict=True)
    )
    pairs = (VerticalPair("C1: A above B", points), VerticalPair("C2: D above E", points[:1]))
    figure = draw_vertical(VerticalPlotData("Vertical gradients", "Site", pairs, ()))
    assert {"upward", "downward", "not distinguishable from no gradient", "C1: A above B"} <= set(words_of(figure))
    assert beyond_page(figure) == []
    assert math.isfinite(figure.get_size_inches()[1])
