"""High and low water of a year: two maps beside each other, of one scale and extent."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Final

import numpy as np
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, Page, key_height_mm
from gwnet.figures.base.text import fit, number_text, text_width_pt
from gwnet.figures.maps.aquifer_page import round_scale_frame
from gwnet.figures.maps.data import MapPlotData, MapPoint
from gwnet.figures.maps.frame import draw_north_and_scale
from gwnet.figures.maps.marks import EDGE, key_entries
from gwnet.figures.maps.surface_map import draw_panel, extent_of

_GAP_MM: Final = 4.8
_HEAD_MM: Final = 6.4


def draw_high_low(
    maps: tuple[MapPlotData, MapPlotData],
    heads: tuple[tuple[str, str], tuple[str, str]],
    *,
    named: Collection[str] = (),
    size_mm: tuple[float, float],
) -> Figure:
    """Draw two maps beside each other.

    Parameters
    ----------
    maps : tuple of MapPlotData
        High and low water.
    heads : tuple of tuple of str
        Above each map: what it is with its day, and its gradient.
    named : collection of str, optional
        Wells that are named; of the others the level alone is written.
    size_mm : tuple of float
        Width and height [mm].

    Returns
    -------
    matplotlib.figure.Figure
        The maps with one key.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        entries = {entry.label: entry for data in maps for entry in key_entries(data) if entry.label != EDGE}
        below = key_height_mm(list(entries.values()), page.width - 20.0, style.LABEL_PT) + 1.4
        width = (page.width - _GAP_MM) / 2
        extent = np.vstack([extent_of(data) for data in maps])
        text = ""
        for number, (data, (what, gradient)) in enumerate(zip(maps, heads, strict=True)):
            box = Box(number * (width + _GAP_MM), below, width, page.height - below - _HEAD_MM)
            page.line([box.left, box.right], [page.height - 0.2] * 2, color=style.INK, linewidth=0.9)
            page.text(box.left, page.height - 4.6, what, size=8.0, weight="bold")
            room = width * style.PT_PER_MM - text_width_pt(what, 8.0, bold=True) - 8.0
            page.text(box.right, page.height - 4.6, fit(gradient, room, 8.0), size=8.0, ha="right")
            frame, denominator = round_scale_frame(box, extent, data.coordinate_unit_m, 4.5)
            axes = page.axes(box)
            axes.set_xlim(box.left, box.right)
            axes.set_ylim(box.bottom, box.top)
            axes.set_axis_off()
            brief = replace(data, points=tuple(_brief(point, named) for point in data.points))
            draw_panel(axes, frame, brief, reserved=_corners(box) if number == 0 else ())
            if number == 0:
                draw_north_and_scale(page, box, frame, data)
            text = f"1 : {denominator:,.0f}".replace(",", "\u202f")
        page.key(list(entries.values()), 0.0, below - 0.6, page.width - 20.0, style.LABEL_PT)
        page.text(page.width, below - 3.8, text, size=style.LABEL_PT, ha="right", weight="bold")
    return page.figure


def _corners(box: Box) -> tuple[Box, Box]:
    """Return the corners of the first map that the north arrow and the scale bar take."""
    return Box(box.right - 8.5, box.top - 12.0, 5.0, 12.0), Box(box.left, box.bottom, 44.0, 8.0)


def _brief(point: MapPoint, named: Collection[str]) -> MapPoint:
    """Return a point with a label of one line: its level, and its name where it is drawn below."""
    value = number_text(point.number, 2) if point.used and np.isfinite(point.number) else ""
    if not point.used:
        return replace(point, name=point.name if point.rate or not point.quiet else "", value="")
    name = f"{point.name} {value}" if point.name in named else value
    return replace(point, name=name, value="")
