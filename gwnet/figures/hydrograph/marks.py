"""Marks of a hydrograph and their key; shapes of our project default, distinguishable without colour."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.path import Path as MplPath

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.symbols import band_symbol, line_symbol
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
    """How one kind of event is drawn: shape, size [pt], and whether it is filled where approved, hollow, or a bound."""

    label: str
    shape: Any
    size_pt: float
    fill: str

    def options(self, *, approved: bool, factor: float = 1.0) -> dict[str, Any]:
        """Return the options of a plot of this mark."""
        face = style.INK if approved else style.PAPER
        base: dict[str, Any] = {"marker": self.shape, "markersize": self.size_pt * factor}
        if self.fill == "full":
            return base | {"markerfacecolor": face, "markeredgecolor": style.INK, "markeredgewidth": 0.9 * factor}
        if self.fill == "bound":
            return base | {"markerfacecolor": "none", "markeredgecolor": style.EARTH, "markeredgewidth": 0.9}
        face = "none" if self.fill == "stroke" else style.PAPER
        return base | {"markerfacecolor": face, "markeredgecolor": style.SOFT, "markeredgewidth": 0.75}


#: Marks by kind, in the order of the key.
MARKS: Final[dict[str, Mark]] = {
    "level": Mark("level", "o", 3.4, "full"),
    "estimate": Mark("estimate", "p", 4.0, "full"),
    "below the screen": Mark("read below the screen", "v", 4.2, "hollow"),
    "screen bound": Mark("below the screen: head at or below", _DOWN, 8.0, "bound"),
    "dry": Mark("dry: head at or below", _DOWN, 8.0, "bound"),
    "flowing": Mark("flowing: head at or above", _UP, 8.0, "bound"),
    "pumping": Mark("pumping", "D", 3.4, "hollow"),
    "recovering": Mark("recovering", "^", 4.2, "hollow"),
    "disturbed": Mark("otherwise disturbed", "s", 3.5, "hollow"),
    "unusable": Mark("not used: see findings", "x", 3.9, "stroke"),
}

#: Mark of a sensor out of water.
SENSOR_BOUND: Final = Mark("sensor out of water: head at or below", _DOWN, 7.0, "bound")


def key_entries(wells: Sequence[HydrographPlotData], *, strips: bool = True) -> list[KeyEntry]:
    """Return the key of what these hydrographs show, and of nothing else.

    Parameters
    ----------
    wells : sequence of HydrographPlotData
        What is drawn.
    strips : bool, optional
        Whether a strip at the foot shows when loggers were installed.
    """
    kinds: dict[str, set[bool]] = {}
    for well in wells:
        for kind, approved in zip(well.kind, well.approved, strict=True):
            kinds.setdefault(kind, set()).add(bool(approved))
    entries = []
    for kind, mark in MARKS.items():
        if mark.fill == "full":
            # Only the states that are there: a key of what is not drawn sends readers looking.
            for approved in sorted(kinds.get(kind, ()), reverse=True):
                state = "approved" if approved else "provisional"
                entries.append(KeyEntry(f"{mark.label}, {state}", _mark_drawer(mark, approved)))
        elif kind in kinds:
            entries.append(KeyEntry(mark.label, _mark_drawer(mark, approved=True)))
    entries += _logger_entries(wells, strips=strips)
    if any(well.changes for well in wells):
        entries.append(KeyEntry("measuring point changed", _change_drawer))
    return entries


def _logger_entries(wells: Sequence[HydrographPlotData], *, strips: bool) -> list[KeyEntry]:
    """Return the key of logger lines, of bounds of sensors out of water, and of the strips of loggers."""
    entries = []
    if any(np.isfinite(well.logger.elevation_m).any() for well in wells):
        entries.append(KeyEntry("logger", line_symbol(color=style.WATER, linewidth=1.4), 5.0))
    if any(len(well.logger.bounds) for well in wells):
        entries.append(KeyEntry(SENSOR_BOUND.label, _mark_drawer(SENSOR_BOUND, approved=False)))
    if any(np.isfinite(well.logger.doubtful_m).any() for well in wells):
        entries.append(KeyEntry("logger, kept out by an open finding", line_symbol(**DOUBTFUL), 5.0))
    if strips and any(len(well.logger.installed) for well in wells):
        entries.append(KeyEntry("sensor installed", band_symbol(STRIP_MM, **INSTALLED), 5.0))
    if strips and any(len(well.logger.left_out) for well in wells):
        entries.append(KeyEntry("samples left out", band_symbol(STRIP_MM, hatching="strokes", **LEFT_OUT), 5.0))
    return entries


def _mark_drawer(mark: Mark, approved: bool) -> Any:
    def draw(page: Page, box: Box) -> None:
        y = box.bottom + box.height / 2
        # The arrow hangs from its point: moved so that its middle is in the middle of the row.
        if mark.shape is _DOWN:
            y += 1.0
        elif mark.shape is _UP:
            y -= 1.0
        page.line([box.left + 1.0], [y], linestyle="none", **mark.options(approved=approved))

    return draw


def _change_drawer(page: Page, box: Box) -> None:
    x = box.left + 1.0
    page.line(
        [x, x],
        [box.bottom + 0.3, box.top - 0.3],
        color=style.SOFT,
        linewidth=style.HAIR,
        dashes=(1.2, 1.6),
    )
