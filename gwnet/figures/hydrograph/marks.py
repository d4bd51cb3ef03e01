"""Marks of a hydrograph and their key; shapes of our project default, distinguishable without colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.path import Path as MplPath

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.symbols import band_symbol, line_symbol, mark_symbol
from gwnet.figures.hydrograph.data import HydrographPlotData
from gwnet.figures.hydrograph.logger_line import DOUBTFUL, INSTALLED, LEFT_OUT, STRIP_MM

_MOVE, _LINE = MplPath.MOVETO, MplPath.LINETO
#: A bar at the bound with an arrow away from it.
_ARROW: Final = np.array([(-0.55, 0), (0.55, 0), (0, 0), (0, -1), (-0.34, -0.6), (0, -1), (0.34, -0.6)])
_STEPS: Final = [_MOVE, _LINE, _MOVE, _LINE, _MOVE, _LINE, _LINE]
_DOWN: Final = MplPath(_ARROW, _STEPS)
_UP: Final = MplPath(_ARROW * (1, -1), _STEPS)


@dataclass(frozen=True, slots=True)
class Mark:
    """How one kind of event is drawn: shape, size [pt], and whether it is filled, half filled or hollow."""

    label: str
    shape: Any
    size_pt: float
    fill: str

    def options(self, *, approved: bool, factor: float = 1.0) -> dict[str, Any]:
        """Return the options of a plot of this mark."""
        color = style.WATER if approved else style.WATER_LIGHT
        ink = style.INK if approved else style.SOFT
        base: dict[str, Any] = {"marker": self.shape, "markersize": self.size_pt * factor}
        if self.fill == "full":
            return base | {"markerfacecolor": color, "markeredgecolor": color, "markeredgewidth": 0.0}
        if self.fill == "half":
            return base | {
                "fillstyle": "bottom",
                "markerfacecolor": color,
                "markerfacecoloralt": style.PAPER,
                "markeredgecolor": color,
                "markeredgewidth": 0.6,
            }
        face = "none" if self.fill == "stroke" else style.PAPER
        return base | {"markerfacecolor": face, "markeredgecolor": ink, "markeredgewidth": 0.75}


#: Marks by kind, in the order of the key.
MARKS: Final[dict[str, Mark]] = {
    "level": Mark("static level", "o", 3.7, "full"),
    "estimate": Mark("estimate", "o", 3.9, "half"),
    "below the screen": Mark("read below the screen", "v", 4.2, "hollow"),
    "screen bound": Mark("below the screen: head at or below", _DOWN, 8.0, "stroke"),
    "dry": Mark("dry: head at or below", _DOWN, 8.0, "stroke"),
    "flowing": Mark("flowing: head at or above", _UP, 8.0, "stroke"),
    "pumping": Mark("pumping", "D", 3.4, "hollow"),
    "recovering": Mark("recovering", "^", 4.2, "hollow"),
    "disturbed": Mark("otherwise disturbed", "s", 3.5, "hollow"),
    "unusable": Mark("not used: see findings", "x", 3.9, "stroke"),
}

#: Mark of a sensor out of water.
SENSOR_BOUND: Final = Mark("sensor out of water: head at or below", _DOWN, 7.0, "stroke")


def key_entries(wells: Sequence[HydrographPlotData]) -> list[KeyEntry]:
    """Return the key of what these hydrographs show, and of nothing else."""
    kinds: dict[str, bool] = {}
    for well in wells:
        for kind, approved in zip(well.kind, well.approved, strict=True):
            kinds[kind] = kinds.get(kind, False) or bool(approved)
    entries = [KeyEntry(mark.label, _mark_drawer(mark, kinds[kind])) for kind, mark in MARKS.items() if kind in kinds]
    if not all(well.approved.all() for well in wells):
        words = "lighter: not approved" if any(kinds.values()) else "none approved yet: all lighter"
        entries.append(KeyEntry(words, _draw_provisional, 5.0))
    entries += _logger_entries(wells)
    if any(well.changes for well in wells):
        entries.append(KeyEntry("measuring point changed", _change_drawer))
    return entries


def _logger_entries(wells: Sequence[HydrographPlotData]) -> list[KeyEntry]:
    """Return the key of logger lines: dark where approved readings hold them, light elsewhere."""
    held = any((well.logger.approved & np.isfinite(well.logger.elevation_m)).any() for well in wells)
    loose = any((~well.logger.approved & np.isfinite(well.logger.elevation_m)).any() for well in wells)
    entries = []
    if held:
        entries.append(KeyEntry("logger", line_symbol(color=style.SERIES, linewidth=style.THIN), 5.0))
    if loose:
        words = "logger, not between approved readings" if held else "logger, no approved readings yet"
        entries.append(KeyEntry(words, line_symbol(color=style.SERIES_LIGHT, linewidth=style.THIN), 5.0))
    if any(len(well.logger.bounds) for well in wells):
        entries.append(KeyEntry(SENSOR_BOUND.label, _mark_drawer(SENSOR_BOUND, approved=False)))
    if any(np.isfinite(well.logger.doubtful_m).any() for well in wells):
        entries.append(KeyEntry("logger, kept out by an open finding", line_symbol(**DOUBTFUL), 5.0))
    if any(len(well.logger.installed) for well in wells):
        entries.append(KeyEntry("sensor installed", band_symbol(STRIP_MM, **INSTALLED), 5.0))
    if any(len(well.logger.left_out) for well in wells):
        entries.append(KeyEntry("samples left out", band_symbol(STRIP_MM, hatching="strokes", **LEFT_OUT), 5.0))
    return entries


def _mark_drawer(mark: Mark, approved: bool) -> Any:
    def draw(page: Page, box: Box) -> None:
        y = box.bottom + box.height / 2
        if mark.shape is _DOWN:
            y += 1.0
        elif mark.shape is _UP:
            y -= 1.0
        page.line([box.left + 1.0], [y], linestyle="none", **mark.options(approved=approved))

    return draw


def _draw_provisional(page: Page, box: Box) -> None:
    line_symbol(color=style.WATER_LIGHT, linewidth=0.9)(page, box)
    mark_symbol(**MARKS["level"].options(approved=False))(page, box)


def _change_drawer(page: Page, box: Box) -> None:
    x = box.left + 1.0
    page.line(
        [x, x],
        [box.bottom + 0.3, box.top - 0.3],
        color=style.SOFT,
        linewidth=style.HAIR,
        dashes=(1.2, 1.6),
    )
