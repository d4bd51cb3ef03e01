"""What lies under a map: the user's own layers, barriers, rivers whose heads are control, ground below the heads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.path import Path as MplPath

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.symbols import Hatched, band_symbol, line_symbol, mark_symbol
from gwnet.figures.base.text import fit, shown
from gwnet.figures.maps.frame import MapFrame
from gwnet.figures.maps.geometry import BaseLayer

#: Width of a barrier and of the light line within it [pt].
_BARRIER_PT: Final = 2.6
_CORE_PT: Final = 1.1
_RIVER_PT: Final = 1.7
_RIVER: Final[dict[str, Any]] = {"color": style.RIVER, "linewidth": _RIVER_PT, "alpha": 0.6}
#: Area where heads are above the ground.
_DOTTED: Final[dict[str, Any]] = {"facecolor": "none", "edgecolor": style.EARTH, "linewidth": style.HAIR}
#: Points of base layers.
_DOT: Final[dict[str, Any]] = {"marker": ".", "markersize": 2.5, "color": style.SOFT}
#: Most base layers named in the key, and room for a name [mm].
_MOST_NAMED: Final = 5
_NAME_MM: Final = 34.0


def draw_layers(axes: Axes, frame: MapFrame, layers: Sequence[BaseLayer]) -> None:
    """Draw layers under everything: the user's own lightly, rivers with heads and barriers so that they are distinct.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes in millimetres of the page.
    frame : MapFrame
        Panel and scale.
    layers : sequence of BaseLayer
        Layers.
    """
    for layer in layers:
        if layer.kind == "base":
            _draw_base(axes, frame, layer)
    for layer in layers:
        lines = [frame.to_mm(line) for line in layer.lines]
        if layer.kind == "river" and lines:
            river = LineCollection(lines, colors=style.RIVER, linewidths=_RIVER_PT, alpha=0.6, zorder=0.9)
            axes.add_collection(river, autolim=False)
        elif layer.kind == "barrier" and lines:
            for color, width, above in ((style.INK, _BARRIER_PT, 2.50), (style.PAPER, _CORE_PT, 2.51)):
                wall = LineCollection(lines, colors=color, linewidths=width, zorder=above, capstyle="butt")
                axes.add_collection(wall, autolim=False)


def _draw_base(axes: Axes, frame: MapFrame, layer: BaseLayer) -> None:
    rings = [frame.to_mm(ring) for ring in layer.rings]
    if rings:
        paths = MplPath.make_compound_path(*(MplPath(ring, closed=True) for ring in rings))
        faces = PathCollection([paths], facecolors=style.TINT, edgecolors=style.RULE, linewidths=style.HAIR)
        faces.set_zorder(0.5)
        axes.add_collection(faces, autolim=False)
    lines = [frame.to_mm(line) for line in layer.lines]
    if lines:
        axes.add_collection(LineCollection(lines, colors=style.RULE, linewidths=style.LINE, zorder=0.6), autolim=False)
    if len(layer.points):
        xy = frame.to_mm(layer.points)
        axes.plot(xy[:, 0], xy[:, 1], linestyle="none", zorder=0.7, **_DOT)


def draw_above_ground(axes: Axes, frame: MapFrame, layers: Sequence[BaseLayer]) -> None:
    """Dot the area where heads are above the ground.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes in millimetres of the page.
    frame : MapFrame
        Panel and scale.
    layers : sequence of BaseLayer
        Layers; those of the kind above ground are drawn.
    """
    rings = [frame.to_mm(ring) for layer in layers if layer.kind == "above ground" for ring in layer.rings]
    if rings:
        paths = MplPath.make_compound_path(*(MplPath(ring, closed=True) for ring in rings))
        axes.add_artist(Hatched(paths, "dots", zorder=1.0, **_DOTTED))


def layer_entries(layers: Sequence[BaseLayer]) -> list[KeyEntry]:
    """Return the key of the layers.

    Returns
    -------
    list of KeyEntry
        One a kind, and one for each of the first five base layers.
    """
    kinds = {layer.kind for layer in layers}
    entries = []
    if "barrier" in kinds:
        entries.append(KeyEntry("barrier", _barrier_drawer, 7.0))
    if "river" in kinds:
        entries.append(KeyEntry("river, its heads are control", line_symbol(**_RIVER), 7.0))
    if "above ground" in kinds:
        entries.append(
            KeyEntry(
                "head above ground",
                band_symbol(hatching="dots", **_DOTTED),
                7.0,
            )
        )
    for layer in [layer for layer in layers if layer.kind == "base"][:_MOST_NAMED]:
        name = fit(shown(layer.name), _NAME_MM * style.PT_PER_MM, style.NOTE_PT)
        if layer.rings:
            drawer = band_symbol(facecolor=style.TINT, edgecolor=style.RULE, linewidth=style.HAIR)
        elif layer.lines:
            drawer = line_symbol(color=style.RULE, linewidth=style.LINE)
        else:
            drawer = mark_symbol(**_DOT)
        entries.append(KeyEntry(name, drawer, 7.0))
    return entries


def _barrier_drawer(page: Page, box: Box) -> None:
    y = box.bottom + box.height / 2
    page.line([box.left, box.right], [y, y], color=style.INK, linewidth=_BARRIER_PT, solid_capstyle="butt")
    page.line([box.left, box.right], [y, y], color=style.PAPER, linewidth=_CORE_PT, solid_capstyle="butt")
