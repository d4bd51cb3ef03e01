"""The key map of a cover: every well and gauge, pumped wells with their rate, states of thresholds at their wells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, Page
from gwnet.figures.base.placement import Anchor, PlacedLabel, place_labels
from gwnet.figures.base.symbols import mark_symbol
from gwnet.figures.base.text import fit, text_width_pt
from gwnet.figures.maps.aquifer_page import round_scale_frame
from gwnet.figures.maps.context import MOST_LABELS
from gwnet.figures.maps.frame import MapFrame, draw_label_box, draw_north_and_scale
from gwnet.figures.maps.labels import SAME_PLACE_MM, choose_labelled, group_places, is_far, join_names
from gwnet.figures.maps.marks import draw_pumped, draw_pumped_key
from gwnet.figures.maps.network_data import NetworkPlotData, NetworkWell
from gwnet.figures.series.threshold_lanes import draw_state_mark

#: Width of the map and of what stands right of it [mm].
MAP_MM: Final = 114.4
KEY_LEFT_MM: Final = 119.2
_ROW_MM: Final = 4.7
_NAME_PT: Final = 7.5
_NAME_MM: Final = 3.1
_PAD_MM: Final = 0.35
_SAME_PLACE_MM: Final = 1.8
_PITCH_MM: Final = 2.4
_RADIUS_MM: Final = 1.1
_MARK_MM: Final = 2.6
_LONGEST_MM: Final = 34.0
#: Marks of the aquifers, filled and hollow in turn.
_SHAPES: Final[tuple[tuple[str, float, bool], ...]] = (
    ("o", 4.8, True),
    ("D", 4.6, False),
    ("s", 4.6, True),
    ("^", 5.4, False),
    ("p", 5.4, True),
    ("h", 5.4, False),
)
_GAUGE: Final[dict[str, Any]] = {"marker": "v", "markersize": 6.4, "color": style.RIVER}
_STATE_WORDS: Final = {
    "beyond": "threshold crossed",
    "unconfirmed": "beyond, not yet confirmed",
    "unjudged": "cannot be judged",
}


@dataclass(frozen=True, slots=True)
class WellState:
    """States of the thresholds of a well: marks, the worst first, and the names of those thresholds."""

    marks: tuple[str, ...]
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Place:
    wells: tuple[NetworkWell, ...]
    x: float
    y: float
    lines: tuple[str, ...]
    marks: tuple[str, ...] = ()
    is_gauge: bool = False
    rate: str = ""

    @property
    def half_width(self) -> float:
        return (len(self.wells) - 1) * _PITCH_MM / 2 + _RADIUS_MM + len(self.marks) * (_MARK_MM + 0.8)


def key_rows(data: NetworkPlotData, states: Mapping[str, WellState], pumped: Mapping[str, str]) -> int:
    """Return how many lines the key takes."""
    marks = {mark for state in states.values() for mark in state.marks}
    return len(data.groups) + bool(data.gauges) + bool(pumped) + len(marks & set(_STATE_WORDS)) + 1


def key_height_mm(data: NetworkPlotData, states: Mapping[str, WellState], pumped: Mapping[str, str]) -> float:
    """Return the height of the key [mm]."""
    return key_rows(data, states, pumped) * _ROW_MM + 2.0


def draw_key_map(
    data: NetworkPlotData,
    *,
    states: Mapping[str, WellState],
    pumped: Mapping[str, str],
    size_mm: tuple[float, float],
) -> Figure:
    """Draw the key map, with its key right of it and room for text below the key.

    Parameters
    ----------
    data : NetworkPlotData
        Wells and gauges.
    states : mapping of str to WellState
        States of the thresholds that are not simply kept, by well.
    pumped : mapping of str to str
        Rate as printed of each pumped well.
    size_mm : tuple of float
        Width and height [mm].

    Returns
    -------
    matplotlib.figure.Figure
        The figure.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        panel = Box(0.3, 0.3, MAP_MM - 0.6, page.height - 0.6)
        everything = np.array([(well.x, well.y) for well in (*data.wells, *data.gauges)])
        frame, _ = round_scale_frame(panel, everything, data.coordinate_unit_m)
        axes = page.axes(panel)
        axes.set_xlim(panel.left, panel.right)
        axes.set_ylim(panel.bottom, panel.top)
        axes.set_xticks([])
        axes.set_yticks([])
        for spine in axes.spines.values():
            spine.set_color(style.RULE)
        shapes = {code: _SHAPES[number % len(_SHAPES)] for number, (code, _) in enumerate(data.groups)}
        places = _places(data, frame, states, pumped)
        labels = _labels(places, panel)
        for place, label in zip(places, labels, strict=True):
            _draw_place(page, axes, place, shapes)
            if label is not None:
                _draw_label(axes, place, label)
        draw_north_and_scale(page, panel, frame, data)
        _draw_key(page, data, shapes, states, pumped)
    return page.figure


def _places(
    data: NetworkPlotData, frame: MapFrame, states: Mapping[str, WellState], pumped: Mapping[str, str]
) -> list[_Place]:
    # A network that is given up as a whole is drawn all the same.
    wells = [well for well in data.wells if well.active] or list(data.wells)
    every = frame.to_mm(np.array([(well.x, well.y) for well in wells]))
    near = _SAME_PLACE_MM if len(wells) <= MOST_LABELS else SAME_PLACE_MM
    places = []
    for group in group_places(every, near):
        members = tuple(wells[i] for i in sorted(group, key=lambda i: wells[i].name))
        x, y = (float(value) for value in every[group[0]])
        held = [states[well.name] for well in members if well.name in states]
        rate = next((pumped[well.name] for well in members if well.name in pumped), "")
        lines = _names(members, pumped)
        for well in members:
            if well.name in states:
                limits = ", ".join(dict.fromkeys(states[well.name].names))
                alone = len(members) == 1 and len(lines) == 1
                lines = [f"{well.name} {limits}"] if alone else [*lines, f"{well.name} {limits}"]
        marks = tuple(dict.fromkeys(mark for state in held for mark in state.marks))
        fitted = tuple(fit(line, _LONGEST_MM * style.PT_PER_MM, _NAME_PT) for line in lines)
        places.append(_Place(members, x, y, fitted, marks, rate=rate))
    for gauge in data.gauges:
        x, y = (float(value) for value in frame.to_mm(np.array([[gauge.x, gauge.y]]))[0])
        places.append(_Place((gauge,), x, y, (gauge.name,), is_gauge=True))
    return places


def _names(members: Sequence[NetworkWell], pumped: Mapping[str, str]) -> list[str]:
    """Return the names at a place; those that pump stand with their rates, apart from the others."""
    rated = [well.name for well in members if pumped.get(well.name, "pumped") != "pumped"]
    others = [well.name for well in members if well.name not in rated]
    if not rated:
        return [_joined(others)]
    verb = "pumps" if len(rated) == 1 else "pump"
    rates = ", ".join(pumped[name] for name in rated)
    return [f"{_joined(rated)} {verb}", rates, *([_joined(others)] if others else [])]


def _joined(names: Sequence[str]) -> str:
    """Return names of one place in short, or the first one and how many there are besides."""
    text = join_names(list(names))
    if text_width_pt(text, _NAME_PT) <= _LONGEST_MM * style.PT_PER_MM:
        return text
    return f"{names[0]} and {len(names) - 1} more" if len(names) > 1 else text


def _labels(places: Sequence[_Place], panel: Box) -> list[PlacedLabel | None]:
    at = np.array([(place.x, place.y) for place in places])
    wanted = choose_labelled(at, [np.nan] * len(places), [place.is_gauge or bool(place.marks) for place in places])
    anchors = []
    for place in (places[int(i)] for i in np.flatnonzero(wanted)):
        width = max(text_width_pt(line, _NAME_PT) for line in place.lines) / style.PT_PER_MM + 2 * _PAD_MM
        height = len(place.lines) * _NAME_MM + _PAD_MM
        rank = 0 if place.marks or place.rate else 1
        anchors.append(Anchor(place.x, place.y, width, height, _RADIUS_MM, place.half_width, rank))
    room = Box(panel.left + 0.6, panel.bottom + 0.6, panel.width - 1.2, panel.height - 1.2)
    corners = (
        Box(panel.right - 12.0, panel.top - 16.0, 12.0, 16.0),
        Box(panel.left, panel.bottom, 46.0, 9.0),
    )
    placed = iter(place_labels(anchors, room, taken=corners))
    labels = [next(placed) if has_label else None for has_label in wanted]
    # Where some go without a label in any case, one that found room only far away is left out as well.
    return [None if not wanted.all() and is_far(label) else label for label in labels]


def _look(shape: tuple[str, float, bool]) -> dict[str, Any]:
    marker, size, filled = shape
    face = style.INK if filled else style.PAPER
    return {
        "marker": marker,
        "markersize": size,
        "markerfacecolor": face,
        "markeredgecolor": style.INK,
        "markeredgewidth": 1.0,
    }


def _draw_place(page: Page, axes: Axes, place: _Place, shapes: Mapping[str, tuple[str, float, bool]]) -> None:
    if place.is_gauge:
        axes.plot([place.x], [place.y], linestyle="none", zorder=3.5, **_GAUGE)
        return
    start = place.x - (len(place.wells) - 1) * _PITCH_MM / 2
    for number, well in enumerate(place.wells):
        look = _look(shapes[well.group])
        axes.plot([start + number * _PITCH_MM], [place.y], linestyle="none", zorder=3.4, **look)
    if place.rate:
        draw_pumped(axes, place.x, place.y)
    for number, mark in enumerate(place.marks):
        left = start - _RADIUS_MM - (number + 1) * (_MARK_MM + 0.8)
        draw_state_mark(page, mark, left, place.y - _MARK_MM / 2, _MARK_MM)


def _draw_label(axes: Axes, place: _Place, label: PlacedLabel) -> None:
    ha, x = draw_label_box(axes, label, place.x, _PAD_MM)
    color = style.RIVER if place.is_gauge else style.INK if place.marks or place.rate else style.SOFT
    for number, line in enumerate(place.lines):
        y = label.box.top - (number + 1) * _NAME_MM + 0.7
        weight = "bold" if place.rate and number == 1 else "normal"
        axes.text(x, y, line, fontsize=_NAME_PT, color=color, ha=ha, va="baseline", weight=weight, zorder=3.8)


def _draw_key(
    page: Page,
    data: NetworkPlotData,
    shapes: Mapping[str, tuple[str, float, bool]],
    states: Mapping[str, WellState],
    pumped: Mapping[str, str],
) -> None:
    y = page.height - 3.4
    left, text_left = KEY_LEFT_MM, KEY_LEFT_MM + 5.2
    room = (page.width - text_left) * style.PT_PER_MM
    page.text(left, y, "Key", size=8.0, weight="bold")

    def entry(text: str, draw: Any) -> None:
        nonlocal y
        y -= _ROW_MM
        draw(page, Box(left + 0.2, y - 0.9, 3.2, _ROW_MM - 0.9))
        page.text(text_left, y, fit(text, room, 8.0), size=8.0)

    for code, name in data.groups:
        entry(f"well, {name.partition(' (')[0]}", mark_symbol(**_look(shapes[code])))
    if pumped:
        entry("pumped well, rate of the month", draw_pumped_key)
    if data.gauges:
        entry("gauge", mark_symbol(**_GAUGE))
    marks = {mark for state in states.values() for mark in state.marks}
    for mark, words in _STATE_WORDS.items():
        if mark in marks:
            entry(words, _state_drawer(mark))
    page.patch(
        Rectangle(
            (page.x_fraction(left), page.y_fraction(y - 2.4)),
            page.x_fraction(page.width - left),
            page.y_fraction(0.1),
            facecolor=style.RULE,
            edgecolor="none",
            transform=page.figure.transFigure,
        )
    )


def _state_drawer(mark: str) -> Any:
    def draw(page: Page, box: Box) -> None:
        draw_state_mark(page, mark, box.left, box.bottom + 0.2, 2.8)

    return draw
