"""Map of the network: every well by aquifer, wells of one place side by side, gauges; no surface."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.placement import Anchor, PlacedLabel, place_labels
from gwnet.figures.base.symbols import mark_symbol
from gwnet.figures.base.text import fit, text_width_pt
from gwnet.figures.maps.context import MOST_LABELS, MOST_NAMED, Note, room_for_labels, without_label
from gwnet.figures.maps.frame import MapFrame, draw_frame, draw_label_box, draw_text, lay_out, with_notes
from gwnet.figures.maps.labels import SAME_PLACE_MM, choose_labelled, group_places, is_far, join_names
from gwnet.figures.maps.network_data import NetworkPlotData, NetworkWell, network_plot_data

__all__ = ["NetworkPlotData", "draw_network_map", "network_plot_data"]

#: Shapes of the aquifers, in the order of the key; with the colours of `style.AQUIFERS`.
_SHAPES: Final = ("o", "s", "^", "D", "p", "h", "8", "P")
_SIZE_PT: Final = 5.4
_NAME_PT: Final = 7.5
_NAME_MM: Final = 2.7
_PAD_MM: Final = 0.35
_LONGEST_NAME_MM: Final = 26.0
_MOST_NAMES: Final = 6
#: Wells nearer than this on paper share a place; their marks stand this far apart [mm].
_SAME_PLACE_MM: Final = 1.8
_PITCH_MM: Final = 2.3
_RADIUS_MM: Final = 1.15
#: Share of the usual size of marks where there are more places than labels.
_CROWDED: Final = 0.62


@dataclass(frozen=True, slots=True)
class _Place:
    """Wells of one place on paper, and the middle of their marks [mm]; ``scale`` is the share of their usual size."""

    wells: tuple[NetworkWell, ...]
    x: float
    y: float
    gauge: bool
    scale: float = 1.0

    @property
    def half_width(self) -> float:
        """Half the width of the row of marks [mm]."""
        return ((len(self.wells) - 1) * _PITCH_MM / 2 + _RADIUS_MM) * self.scale

    @property
    def lines(self) -> tuple[str, ...]:
        """Lines of the label: wells that share the name of their place in one, others one below the other."""
        together = join_names([well.name for well in self.wells])
        # Names with a common beginning, such as B1-a and B1-b, are joined; others are written below each other.
        if not together.startswith(self.wells[0].name):
            return (fit(together, _LONGEST_NAME_MM * style.PT_PER_MM, _NAME_PT),)
        names = [fit(well.name, _LONGEST_NAME_MM * style.PT_PER_MM, _NAME_PT) for well in self.wells]
        if len(names) > _MOST_NAMES:
            names = [*names[: _MOST_NAMES - 1], f"and {len(names) - _MOST_NAMES + 1} more"]
        return tuple(names)


def draw_network_map(data: NetworkPlotData, *, size_mm: tuple[float, float]) -> Figure:
    """Draw where the wells and gauges of the network are.

    Parameters as `gwnet.figures`.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        looks = {code: _look(i) for i, (code, _) in enumerate(data.groups)}
        entries = _key(data, looks)
        everything = np.array([(symbol.x, symbol.y) for symbol in (*data.wells, *data.gauges)])
        sheet = lay_out(page, everything, [*room_for_labels(len(data.wells), data.lists), *data.notes], entries)
        axes = draw_frame(page, sheet, data)
        places = _places(data, sheet.frame)
        labels = _labels(places, sheet.frame.panel)
        for place, label in zip(places, labels, strict=True):
            _draw_place(axes, place, looks)
            if label is not None:
                _draw_label(axes, place, label)
        page.key(entries, sheet.key.left, sheet.key.top, sheet.key.width)
        draw_text(page, with_notes(sheet, [*_missing(places, labels, data.lists), *data.notes]))
    return page.figure


def _look(index: int) -> dict[str, Any]:
    color = style.AQUIFERS[index % len(style.AQUIFERS)]
    return {
        "marker": _SHAPES[index % len(_SHAPES)],
        "markersize": _SIZE_PT,
        "markerfacecolor": color,
        "markeredgecolor": style.INK,
        "markeredgewidth": 0.5,
    }


_GAUGE: Final[dict[str, Any]] = {
    "marker": "v",
    "markersize": 6.4,
    "markerfacecolor": style.RIVER,
    "markeredgecolor": style.INK,
    "markeredgewidth": 0.5,
}


def _given_up(look: dict[str, Any]) -> dict[str, Any]:
    """Return the mark of a well that is given up: the same shape, hollow."""
    return look | {"markerfacecolor": style.PAPER, "markeredgecolor": look["markerfacecolor"], "markeredgewidth": 0.9}


def _places(data: NetworkPlotData, frame: MapFrame) -> list[_Place]:
    """Gather wells that would cover each other on paper."""
    order = {code: i for i, (code, _) in enumerate(data.groups)}

    def rank(well: NetworkWell) -> tuple[int, str]:
        return order[well.group], well.name

    every = frame.to_mm(np.array([(well.x, well.y) for well in data.wells]))
    gathered, scale = group_places(every, _SAME_PLACE_MM), 1.0
    # More places than labels: smaller marks, gathered over a wider reach, keep the pattern of the network visible.
    if len(gathered) > MOST_LABELS:
        gathered, scale = group_places(every, SAME_PLACE_MM), _CROWDED
    places = [
        _Place(
            tuple(sorted((data.wells[i] for i in group), key=rank)),
            float(every[group[0]][0]),
            float(every[group[0]][1]),
            False,
            scale,
        )
        for group in gathered
    ]
    for gauge in data.gauges:
        x, y = frame.to_mm(np.array([[gauge.x, gauge.y]]))[0]
        places.append(_Place((gauge,), float(x), float(y), True))
    return places


def _labels(places: Sequence[_Place], panel: Box) -> list[PlacedLabel | None]:
    anchors = []
    at = np.array([(place.x, place.y) for place in places])
    wanted = choose_labelled(at, [math.nan] * len(places), [place.gauge for place in places])
    for place in (places[int(i)] for i in np.flatnonzero(wanted)):
        width = max(text_width_pt(line, _NAME_PT) for line in place.lines) / style.PT_PER_MM + 2 * _PAD_MM
        height = len(place.lines) * _NAME_MM + _PAD_MM
        anchors.append(Anchor(place.x, place.y, width, height, _RADIUS_MM * place.scale, place.half_width))
    room = Box(panel.left + 0.6, panel.bottom + 0.6, panel.width - 1.2, panel.height - 1.2)
    radius = _RADIUS_MM * _CROWDED
    # Marks without a label of their own must not be covered by those of others.
    bare = [
        Box(place.x - place.half_width, place.y - radius, 2 * place.half_width, 2 * radius)
        for place, has_label in zip(places, wanted, strict=True)
        if not has_label
    ]
    placed = iter(place_labels(anchors, room, taken=bare))
    labels = [next(placed) if has_label else None for has_label in wanted]
    return [None if not wanted.all() and is_far(label) else label for label in labels]


def _draw_place(axes: Axes, place: _Place, looks: dict[str, dict[str, Any]]) -> None:
    if place.gauge:
        axes.plot([place.x], [place.y], linestyle="none", zorder=3.5, **_GAUGE)
        return
    pitch = _PITCH_MM * place.scale
    start = place.x - (len(place.wells) - 1) * pitch / 2
    # A bar through the marks says that they are of one place, and only beside each other on paper.
    if len(place.wells) > 1:
        end = place.x + (len(place.wells) - 1) * pitch / 2
        axes.plot([start, end], [place.y, place.y], color=style.INK, linewidth=style.THIN, zorder=3.3)
    for i, well in enumerate(place.wells):
        # Shape and edge stay those of the aquifer: a well that is given up still shows where levels were read.
        look = looks[well.group] if well.active else _given_up(looks[well.group])
        size = {"markersize": _SIZE_PT * place.scale}
        axes.plot([start + i * pitch], [place.y], linestyle="none", zorder=3.5, **look | size)


def _draw_label(axes: Axes, place: _Place, label: PlacedLabel) -> None:
    ha, x = draw_label_box(axes, label, place.x, _PAD_MM)
    color = style.RIVER if place.gauge else style.INK
    for i, line in enumerate(place.lines):
        y = label.box.top - (i + 1) * _NAME_MM + 0.55
        axes.text(x, y, line, fontsize=_NAME_PT, color=color, ha=ha, va="baseline", zorder=3.8)


def _key(data: NetworkPlotData, looks: dict[str, dict[str, Any]]) -> list[KeyEntry]:
    counts = {code: sum(well.group == code for well in data.wells) for code, _ in data.groups}
    entries = [KeyEntry(f"{name}: {counts[code]}", mark_symbol(**looks[code])) for code, name in data.groups]
    if any(not well.active for well in data.wells):
        entries.append(KeyEntry("given up (hollow)", mark_symbol(**_given_up(_look(0)))))
    if data.gauges:
        entries.append(KeyEntry(f"gauge: {len(data.gauges)}", mark_symbol(**_GAUGE)))
    return entries


def _missing(places: Sequence[_Place], labels: Sequence[PlacedLabel | None], lists: str) -> list[Note]:
    """Return a note that names the wells without a label, or counts them where they are many."""
    names = [well.name for place, label in zip(places, labels, strict=True) if label is None for well in place.wells]
    if len(names) > MOST_NAMED:
        every = sum(len(place.wells) for place in places)
        return [without_label(len(names), every, lists)]
    return (
        [Note("No room on the map for the labels of", (f"{', '.join(names)}.",), wells=(len(names),))] if names else []
    )
