"""Marks of a potentiometric map and their key."""

from __future__ import annotations

from typing import Any, Final

from matplotlib.axes import Axes

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.symbols import line_symbol, mark_symbol
from gwnet.figures.maps.data import MapPlotData, MapPoint
from gwnet.figures.maps.layers import layer_entries

#: Half the size of a point's symbol, and of the ring around one with a finding [mm].
RADIUS_MM: Final = 1.15
RING_MM: Final = 2.1
#: Length of the ticks inside a closed low [mm].
TICK_MM: Final = 1.1
#: Dashes of an inferred contour [line widths].
DASHED: Final = (0.0, (4.5, 2.6))
#: Mark over a point that is not used.
CROSS: Final[dict[str, Any]] = {
    "marker": "x",
    "markersize": 2.7,
    "markeredgecolor": style.SOFT,
    "markeredgewidth": 0.8,
}


_RING: Final[dict[str, Any]] = {
    "marker": "o",
    "markersize": 8.4,
    "markerfacecolor": "none",
    "markeredgecolor": style.LIMIT,
}
#: Edge of the control.
BOUNDARY: Final[dict[str, Any]] = {"color": style.SOFT, "linewidth": style.HAIR, "dashes": (0.8, 2.0)}
#: Words of the key for it.
EDGE: Final = "edge of the control"
_CONTOUR: Final[dict[str, Any]] = {"color": style.WATER, "linewidth": 0.85}
#: Marks of used points that are no manual reading: a logger's level, a change, the data worth of a well.
_OTHER_LOOKS: Final[dict[str, dict[str, Any]]] = {
    "logger": {"marker": "D", "markersize": 5.2, "markerfacecolor": style.INK, "markeredgecolor": style.PAPER},
    "rise": {"marker": "^", "markersize": 6.2, "markerfacecolor": style.INK, "markeredgecolor": style.PAPER},
    "fall": {"marker": "v", "markersize": 6.2, "markerfacecolor": style.FALL, "markeredgecolor": style.WATER},
    "even": {"markerfacecolor": style.PAPER, "markeredgecolor": style.INK},
    "ranked": {"markerfacecolor": style.INK, "markeredgecolor": style.PAPER},
    "least": {"marker": "s", "markersize": 4.8, "markerfacecolor": style.PAPER, "markeredgecolor": style.INK},
    "candidate": {"marker": "P", "markersize": 6.8, "markerfacecolor": style.LIMIT, "markeredgecolor": style.PAPER},
}
_OTHER_WORDS: Final[dict[str, str]] = {
    "logger": "by its logger",
    "rise": "rise",
    "fall": "fall",
    "even": "change within its uncertainty",
    "ranked": "well, with its rank",
    "least": "well whose removal changes the map least",
    "candidate": "place where the error is largest",
}


#: A pumped well: a ring around a core.
PUMPED: Final[dict[str, Any]] = {
    "marker": "o",
    "markersize": 8.0,
    "markerfacecolor": style.PAPER,
    "markeredgecolor": style.INK,
    "markeredgewidth": 1.1,
}
_CORE: Final[dict[str, Any]] = {"marker": "o", "markersize": 3.6, "color": style.INK}


def draw_pumped(axes: Axes, x: float, y: float, *, small: bool = False) -> None:
    """Draw the mark of a pumped well.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes in millimetres of the page.
    x, y : float
        Where it is [mm].
    small : bool, optional
        Whether the map is a small one.
    """
    size = 0.7 if small else 1.0
    for mark in (PUMPED, _CORE):
        axes.plot([x], [y], linestyle="none", zorder=3.55, **mark | {"markersize": mark["markersize"] * size})


def draw_pumped_key(page: Page, box: Box) -> None:
    """Draw the mark of a pumped well into the box of a key."""
    for mark in (PUMPED, _CORE):
        mark_symbol(**mark)(page, box)


def look(point: MapPoint) -> dict[str, Any]:
    """Return the mark of a point: filled disc, hollow disc with a cross when not used, triangle for a gauge.

    Maps of change and of data worth have marks of their own for the points that are used.
    """
    mark = {"marker": "o", "markersize": 5.2, "markeredgewidth": 0.8, "markerfacecolor": style.PAPER}
    if point.kind in _OTHER_LOOKS and point.used:
        return mark | {"markeredgewidth": 0.6} | _OTHER_LOOKS[point.kind]
    if point.kind == "stage":
        face = style.RIVER if point.used else style.PAPER
        return mark | {"marker": "v", "markersize": 6.4, "markerfacecolor": face, "markeredgecolor": style.RIVER}
    if point.quiet:
        return mark | {"markersize": 2.4, "markerfacecolor": style.SOFT, "markeredgecolor": style.PAPER}
    if point.used:
        return mark | {"markerfacecolor": style.INK, "markeredgecolor": style.PAPER, "markeredgewidth": 0.6}
    return mark | {"markeredgecolor": style.SOFT}


def key_entries(data: MapPlotData) -> list[KeyEntry]:
    """Return the key of what this map shows, and of nothing else."""
    kinds = {(point.kind, point.used) for point in data.points if point.placed and not point.quiet and not point.rate}
    sample = {key: MapPoint("", key[0], 0.0, 0.0, "", key[1]) for key in kinds}
    words = {
        ("well", True): "read",
        ("well", False): "left out",
        ("stage", True): "gauge",
        ("stage", False): "gauge left out",
        **{(kind, True): text for kind, text in _OTHER_WORDS.items()},
    }
    entries = [KeyEntry(text, _point_drawer(sample[key])) for key, text in words.items() if key in kinds]
    if any(point.rate for point in data.points):
        entries.append(KeyEntry("pumped well", draw_pumped_key, 3.2))
    if any(point.quiet for point in data.points):
        entries.append(
            KeyEntry("well not measured", _point_drawer(MapPoint("", "well", 0.0, 0.0, "", False, quiet=True)))
        )
    if any(point.finding for point in data.points):
        entries.append(KeyEntry("finding, see text (†)", mark_symbol(**_RING), 3.4))
    if any(not contour.inferred for contour in data.contours):
        entries.append(KeyEntry("contour", line_symbol(**_CONTOUR), 7.0))
    if any(contour.inferred for contour in data.contours):
        entries.append(KeyEntry("inferred", line_symbol(**_CONTOUR, linestyle=DASHED), 7.0))
    if any(contour.depression for contour in data.contours):
        entries.append(KeyEntry("closed low", _low_drawer, 7.0))
    if len(data.arrows):
        entries.append(KeyEntry("flow", _arrow_drawer, 6.0))
    if data.boundary:
        entries.append(KeyEntry(EDGE, line_symbol(**BOUNDARY), 7.0))
    return [*entries, *layer_entries(data.layers)]


def _point_drawer(point: MapPoint) -> Any:
    def draw(page: Page, box: Box) -> None:
        mark_symbol(**look(point))(page, box)
        if not point.used and not point.quiet:
            mark_symbol(**CROSS)(page, box)

    return draw


def _low_drawer(page: Page, box: Box) -> None:
    y = box.bottom + box.height / 2 + 0.4
    page.line([box.left, box.right], [y, y], color=style.WATER, linewidth=0.85)
    for i in range(3):
        x = box.left + box.width * (i + 0.5) / 3
        page.line([x, x], [y, y - TICK_MM], color=style.WATER, linewidth=0.7)


def _arrow_drawer(page: Page, box: Box) -> None:
    y = box.bottom + box.height / 2
    page.line([box.left, box.right - 1.2], [y, y], color=style.FLOW, linewidth=style.THIN)
    page.line([box.right - 0.9], [y], linestyle="none", marker=">", markersize=3.0, color=style.FLOW, markeredgewidth=0)
