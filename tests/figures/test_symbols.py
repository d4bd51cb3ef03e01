"""Hatched areas: strokes of their own, clipped to the outline, in every kind of file."""

import io

import numpy as np
import pikepdf
import pytest
from matplotlib.path import Path
from PIL import Image

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, Page
from gwnet.figures.base.symbols import Hatched, band_symbol, rectangle


def drawn(hatching, *, outline=None, bounds=(20.0, 10.0, 40.0, 20.0)):
    with style.style_context():
        page = Page(style.new_figure((80.0, 40.0)))
        axes = page.axes(Box(0.0, 0.0, 80.0, 40.0))
        axes.set(xlim=(0, 80), ylim=(0, 40))
        axes.set_axis_off()
        shape = rectangle(*bounds) if outline is None else outline
        axes.add_patch(Hatched(shape, hatching, facecolor="none", edgecolor="black", linewidth=0.0))
    return page.figure


def ink(figure):
    picture = Image.open(io.BytesIO(style.figure_bytes(figure, "png"))).convert("L")
    return np.asarray(picture)[::-1] < 200


@pytest.mark.parametrize(("hatching", "least", "most"), [("strokes", 0.05, 0.4), ("dots", 0.02, 0.3)])
def test_strokes_fill_the_outline_and_nothing_beyond_it(hatching, least, most):
    dark = ink(drawn(hatching))
    per_mm = dark.shape[1] / 80.0
    inside = dark[int(10 * per_mm) : int(30 * per_mm), int(20 * per_mm) : int(60 * per_mm)]
    assert least < inside.mean() < most
    assert inside[: inside.shape[0] // 8, : inside.shape[1] // 8].any()
    assert inside[-inside.shape[0] // 8 :, -inside.shape[1] // 8 :].any()
    assert dark.sum() - inside.sum() < 0.02 * inside.sum()


def test_an_outline_of_any_shape_clips():
    turn = np.linspace(0.0, 2.0 * np.pi, 60)
    circle = Path(np.column_stack([40.0 + 15.0 * np.cos(turn), 20.0 + 15.0 * np.sin(turn)]))
    dark = ink(drawn("dots", outline=circle))
    y, x = np.nonzero(dark)
    per_mm = dark.shape[1] / 80.0
    assert np.hypot(x / per_mm - 40.0, y / per_mm - 20.0).max() < 15.3
    assert len(x) > 100


@pytest.mark.parametrize("hatching", ["strokes", "dots"])
def test_no_file_holds_a_fill_pattern(hatching):
    """ISO 32000-1, 8.7.3: a pattern is an object with the key PatternType."""
    figure = drawn(hatching)
    with pikepdf.open(io.BytesIO(style.figure_bytes(figure, "pdf"))) as document:
        holders = [item for item in document.objects if isinstance(item, pikepdf.Dictionary | pikepdf.Stream)]
        assert not [item for item in holders if "/PatternType" in item]
    assert b"<pattern" not in style.figure_bytes(figure, "svg")


def test_an_area_beyond_the_panel_draws_nothing():
    assert not ink(drawn("strokes", bounds=(100.0, 10.0, 40.0, 20.0))).any()


def test_the_strip_of_a_key_has_the_height_asked_for():
    with style.style_context():
        page = Page(style.new_figure((40.0, 20.0)))
        for hatching, left in (("", 5.0), ("strokes", 20.0)):
            band_symbol(2.0, hatching=hatching, facecolor="black", linewidth=0.0)(page, Box(left, 5.0, 10.0, 6.0))
    dark = ink(page.figure)
    rows = np.flatnonzero(dark[:, : dark.shape[1] // 2].any(axis=1))
    assert len(rows) * 20.0 / dark.shape[0] == pytest.approx(2.0, abs=0.3)
    assert [type(artist).__name__ for artist in page.figure.artists] == ["Rectangle", "Hatched"]
