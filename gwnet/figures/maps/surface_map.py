"""Potentiometric maps: every control point posted, contours labelled along the line, what is not known left blank."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyArrowPatch
from numpy.typing import NDArray

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, Page
from gwnet.figures.base.placement import Anchor, PlacedLabel, place_labels
from gwnet.figures.base.text import fit, text_width_pt
from gwnet.figures.maps.context import MOST_NAMED, Note, room_for_labels, without_label
from gwnet.figures.maps.data import MapPlotData, MapPoint
from gwnet.figures.maps.frame import MapFrame, draw_frame, draw_label_box, draw_text, lay_out, with_notes
from gwnet.figures.maps.geometry import ContourPath, LineLabel, cut_out, hachures, label_spots, spot_beside
from gwnet.figures.maps.labels import choose_labelled, group_places, is_far, join_names
from gwnet.figures.maps.layers import draw_above_ground, draw_layers
from gwnet.figures.maps.marks import (
    BOUNDARY,
    CROSS,
    DASHED,
    RADIUS_MM,
    RING_MM,
    TICK_MM,
    draw_pumped,
    key_entries,
    look,
)

#: Size of a map of its own: A4 upright less margins [mm].
MAP_SIZE_MM: Final = (180.0, 240.0)

_NAME_PT: Final = 7.5
_VALUE_PT: Final = 7.5
_NAME_MM: Final = 3.1
_VALUE_MM: Final = 3.1
_PAD_MM: Final = 0.35
_LONGEST_NAME_MM: Final = 26.0
_LEVEL_PT: Final = 7.5
#: Room between a level in its line and the name of a well [mm]; a slanting level reaches beyond its own middle line.
_LEVEL_CLEAR_MM: Final = 0.8
_TICK_EVERY_MM: Final = 3.2
_ARROW_MM: Final = 5.5
_ARROWS_APART_MM: Final = 9.0
_HEAVY_EVERY: Final = 5
#: Wells left out are on the sheet up to this far beyond the control, as a share of its larger extent. Project default.
_BEYOND_CONTROL: Final = 0.5

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Posted:
    """A place on the page with its label: point that stands for it, all its points, where it is [mm], and the label.

    ``wanted`` is whether it was to have a label at all; among many wells not all do.
    """

    point: MapPoint
    members: tuple[MapPoint, ...]
    x: float
    y: float
    name: str
    label: PlacedLabel | None
    wanted: bool = True


def draw_surface_map(
    data: MapPlotData,
    *,
    size_mm: tuple[float, float] = MAP_SIZE_MM,
    full_text: bool = True,
) -> Figure:
    """Draw a potentiometric map.

    Parameters
    ----------
    data : MapPlotData
        What to draw.
    size_mm : tuple of float, optional
        Width and height [mm]; the text is beside the map or below it, whichever shows the map larger.
    full_text : bool, optional
        Whether to write method, findings in words and cautions as well; a report writes them beside the figure.
    """
    with style.style_context():
        page = Page(style.new_figure(size_mm))
        notes = [note for note in data.notes if full_text or note.brief]
        sheet = lay_out(
            page, extent_of(data), [*room_for_labels(len(data.points), data.lists), *notes], key_entries(data)
        )
        axes = draw_frame(page, sheet, data)
        missing = draw_panel(axes, sheet.frame, data)
        page.key(key_entries(data), sheet.key.left, sheet.key.top, sheet.key.width)
        draw_text(page, with_notes(sheet, [*missing, *notes]))
    return page.figure


def draw_panel(axes: Axes, frame: MapFrame, data: MapPlotData, *, reserved: Sequence[Box] = ()) -> list[Note]:
    """Draw what a map shows into its panel; return notes on labels that found no room or had to be shortened.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
        Axes in millimetres of the page.
    frame : MapFrame
        Panel and scale.
    data : MapPlotData
        The map.
    reserved : sequence of Box, optional
        Where no label may stand.

    Returns
    -------
    list of Note
        Notes on labels.
    """
    draw_layers(axes, frame, data.layers)
    posted = place_map_labels(data, frame, reserved)
    draw_above_ground(axes, frame, data.layers)
    _draw_boundary(axes, frame, data.boundary)
    labels = _draw_contours(axes, frame, data.contours, posted)
    _draw_arrows(axes, frame, data, posted, labels)
    _draw_quiet(axes, data, frame)
    _draw_points(axes, posted)
    _draw_labels(axes, posted)
    return [*_label_notes(posted, data.lists), *_beyond_notes(data, frame)]


def extent_of(data: MapPlotData) -> Points:
    """Return the coordinates that must be on a map, shape (n, 2): the control, and what is left out near it."""
    points = [point for point in data.points if point.placed and not point.quiet]
    used = [(point.x, point.y) for point in points if point.used]
    control = np.vstack([np.array(used).reshape(-1, 2), *data.boundary, *(contour.xy for contour in data.contours)])
    left_out = np.array([(point.x, point.y) for point in points if not point.used]).reshape(-1, 2)
    if not len(control):
        return left_out
    low, high = control.min(axis=0), control.max(axis=0)
    room = _BEYOND_CONTROL * float((high - low).max())
    # A well left out at the other end of the county would shrink the map to a corner.
    near = ((left_out >= low - room) & (left_out <= high + room)).all(axis=1)
    return np.vstack([control, left_out[near]])


def place_map_labels(data: MapPlotData, frame: MapFrame, reserved: Sequence[Box] = ()) -> list[_Posted]:
    """Return every place of points on the sheet, with its label where it has one.

    No label meets another, a point or the edge of the panel. Wells of one place share one. Where there are more places
    than labels are readable, `choose_labelled` says which have one.
    """
    on_sheet = _on_sheet([point for point in data.points if point.placed and not point.quiet], frame)
    if not on_sheet:
        return []
    every = frame.to_mm(np.array([(point.x, point.y) for point in on_sheet]))
    groups = [part for group in group_places(every) for part in _each_used(group, on_sheet)]
    places = every[[group[0] for group in groups]]
    members = [tuple(on_sheet[i] for i in group) for group in groups]
    names = [_place_name(points) for points in members]
    wanted = choose_labelled(
        places,
        [points[0].number if points[0].used else math.nan for points in members],
        [any(point.finding for point in points) for points in members],
    )
    panel = frame.panel
    room = Box(panel.left + 0.6, panel.bottom + 0.6, panel.width - 1.2, panel.height - 1.2)
    ink = [_dense(frame.to_mm(contour.xy)) for contour in data.contours]
    chosen = [int(i) for i in np.flatnonzero(wanted)]
    bare = [Box(x - RADIUS_MM, y - RADIUS_MM, 2 * RADIUS_MM, 2 * RADIUS_MM) for x, y in places[~wanted]]
    placed = place_labels(
        [_anchor(members[i], names[i], *places[i]) for i in chosen],
        room,
        taken=[*bare, *reserved],
        ink=np.vstack(ink) if ink else None,
    )
    labels = dict(zip(chosen, placed, strict=True))
    return [
        _Posted(points[0], points, float(x), float(y), name, _near_enough(labels.get(i), wanted), bool(wanted[i]))
        for i, (points, name, (x, y)) in enumerate(zip(members, names, places, strict=True))
    ]


def _each_used(group: Sequence[int], points: Sequence[MapPoint]) -> list[list[int]]:
    """Return the points of a place in groups with one used point at most, so that each level has its own label."""
    used, others = [i for i in group if points[i].used], [i for i in group if not points[i].used]
    if not used:
        return [others]
    # Two levels of one place, as of two screens, are both control: one label would hide one of them.
    return [[used[0], *others], *([i] for i in used[1:])]


def _near_enough(label: PlacedLabel | None, wanted: NDArray[np.bool_]) -> PlacedLabel | None:
    """Return a label; none where it is far from its point on a sheet of many."""
    return None if not wanted.all() and is_far(label) else label


def _on_sheet(points: Sequence[MapPoint], frame: MapFrame) -> list[MapPoint]:
    return [point for point in points if frame.x0 <= point.x <= frame.x1 and frame.y0 <= point.y <= frame.y1]


def _place_name(points: Sequence[MapPoint]) -> str:
    name = join_names([point.name for point in points])
    mark = " †" if any(point.finding for point in points) else ""
    # A pumped well has its rate behind its name.
    longest = 2 * _LONGEST_NAME_MM if any(point.rate for point in points) else _LONGEST_NAME_MM
    return fit(f"{name}{mark}", longest * style.PT_PER_MM, _NAME_PT)


def _anchor(points: Sequence[MapPoint], name: str, x: float, y: float) -> Anchor:
    point, noticed = points[0], any(member.finding for member in points)
    widths = [text_width_pt(name, _NAME_PT)]
    if point.value:
        widths.append(text_width_pt(point.value, _VALUE_PT, bold=point.used))
    width = max(widths) / style.PT_PER_MM + 2 * _PAD_MM
    height = _NAME_MM + (_VALUE_MM if point.value else 0.0) + _PAD_MM
    radius = RING_MM if noticed else RADIUS_MM
    # What does not fit has the first choice of room, then the control, then what was left out.
    return Anchor(float(x), float(y), width, height, radius, rank=0 if noticed else 1 if point.used else 2)


def _dense(xy: Points, step: float = 1.0) -> Points:
    """Return points along a line, a step apart."""
    pieces = [xy[:1]]
    for a, b in pairwise(xy):
        count = max(math.ceil(float(np.hypot(*(b - a))) / step), 1)
        pieces.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    return np.vstack(pieces)


def _draw_boundary(axes: Axes, frame: MapFrame, rings: Sequence[Points]) -> None:
    for ring in rings:
        xy = frame.to_mm(ring)
        axes.plot(xy[:, 0], xy[:, 1], zorder=1.2, **BOUNDARY)


def _draw_contours(
    axes: Axes, frame: MapFrame, contours: Sequence[ContourPath], posted: Sequence[_Posted]
) -> list[Box]:
    """Draw contours with their levels in the line; return the room that the levels take."""
    lows = _lows(frame, contours)
    spots = _level_spots(frame, contours, posted)
    taken: list[Box] = []
    for contour, own in zip(contours, spots, strict=True):
        xy = frame.to_mm(contour.xy)
        for spot in own:
            _write_level(axes, contour.level, spot)
            half = _level_width(contour.level) / 2
            taken.append(Box(spot.x - half, spot.y - half, 2 * half, 2 * half))
        gaps = [(spot.start, spot.end) for spot in own if spot.end > spot.start]
        heavy = contour.rank % _HEAVY_EVERY == 0
        lines = LineCollection(
            cut_out(xy, gaps), colors=style.WATER, linewidths=style.HEAVY if heavy else 0.85, zorder=2.0
        )
        lines.set_linestyle([DASHED] if contour.inferred else "solid")
        axes.add_collection(lines, autolim=False)
        if contour.depression:
            ticks = hachures(xy, _TICK_EVERY_MM, TICK_MM, gaps, lows[contour.level])
            teeth = LineCollection(list(ticks), colors=style.WATER, linewidths=0.7, zorder=2.0)
            axes.add_collection(teeth, autolim=False)
    return taken


def _level_width(level: str) -> float:
    return text_width_pt(level, _LEVEL_PT, bold=True) / style.PT_PER_MM + 0.6


def _level_spots(frame: MapFrame, contours: Sequence[ContourPath], posted: Sequence[_Posted]) -> list[list[LineLabel]]:
    """Return where each piece of a contour carries its level; one too short for it may have it beside."""
    panel = frame.panel
    room = Box(panel.left + 0.8, panel.bottom + 0.8, panel.width - 1.6, panel.height - 1.6)
    busy = _busy(posted)
    standing: list[tuple[float, float]] = []
    levels: dict[str, list[tuple[float, float]]] = {}
    chosen: list[list[LineLabel]] = [[] for _ in contours]
    # The longest pieces first: they have the most room to give way.
    order = sorted(range(len(contours)), key=lambda i: -len(contours[i].xy))
    # Beside a line only what found no room within one: a level in its line cannot be taken for another's.
    for beside in (False, True):
        for i in order:
            level, xy = contours[i].level, frame.to_mm(contours[i].xy)
            everywhere = np.array(standing).reshape(-1, 2)
            if beside:
                spot = None if level in levels else spot_beside(xy, _level_width(level), 2.0, room, busy, everywhere)
                spots = [] if spot is None else [spot]
            else:
                same = np.array(levels.get(level, [])).reshape(-1, 2)
                spots = label_spots(xy, _level_width(level), 2.0, room, busy, everywhere, same=same)
            chosen[i] += spots
            places = [(spot.x, spot.y) for spot in spots]
            standing += places
            if places:
                levels.setdefault(level, []).extend(places)
    return chosen


def _busy(posted: Sequence[_Posted]) -> NDArray[np.float64]:
    """Return the boxes of points and labels that a level must keep clear of."""
    rows = [(p.x - RADIUS_MM, p.y - RADIUS_MM, p.x + RADIUS_MM, p.y + RADIUS_MM) for p in posted]
    boxes = [p.label.box for p in posted if p.label is not None]
    clear = _LEVEL_CLEAR_MM
    rows += [(box.left - clear, box.bottom - clear, box.right + clear, box.top + clear) for box in boxes]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def _lows(frame: MapFrame, contours: Sequence[ContourPath]) -> dict[str, tuple[float, float]]:
    """Return a point inside the closed lows of each level, for pieces that are not closed themselves."""
    levels: dict[str, list[Points]] = {}
    for contour in contours:
        if contour.depression:
            levels.setdefault(contour.level, []).append(frame.to_mm(contour.xy))
    middles = {level: np.vstack(pieces).mean(axis=0) for level, pieces in levels.items()}
    return {level: (float(x), float(y)) for level, (x, y) in middles.items()}


def _write_level(axes: Axes, level: str, spot: LineLabel) -> None:
    axes.text(
        spot.x,
        spot.y,
        level,
        fontsize=_LEVEL_PT,
        weight="bold",
        color=style.WATER,
        rotation=spot.angle_deg,
        rotation_mode="anchor",
        ha="center",
        va="center_baseline",
        zorder=2.4,
        clip_on=True,
    )


def _draw_arrows(
    axes: Axes, frame: MapFrame, data: MapPlotData, posted: Sequence[_Posted], levels: Sequence[Box]
) -> None:
    """Draw flow arrows of one length where nothing else is drawn, not closer together than can be read."""
    if not len(data.arrows):
        return
    # Arrows come last and give way to everything: there are more places for them than are needed.
    busy = np.vstack([_busy(posted), np.array([(b.left, b.bottom, b.right, b.top) for b in levels]).reshape(-1, 4)])
    tails, tips = frame.to_mm(data.arrows[:, :2]), frame.to_mm(data.arrows[:, 2:])
    standing: list[Points] = []
    for tail, tip, inferred in zip(tails, tips, data.arrows_inferred, strict=True):
        middle, way = (tail + tip) / 2, tip - tail
        size = float(np.hypot(*way))
        if size <= 0 or any(float(np.hypot(*(middle - other))) < _ARROWS_APART_MM for other in standing):
            continue
        # Of one length: a long arrow would be read as a steep gradient, which the contours say already.
        half = way / size * min(size, _ARROW_MM) / 2
        along = middle + np.linspace(-1, 1, 9)[:, None] * half
        if _hits(along, busy):
            continue
        standing.append(middle)
        arrow = FancyArrowPatch(
            tuple(middle - half),
            tuple(middle + half),
            arrowstyle="-|>,head_length=2.6,head_width=1.15",
            linewidth=style.THIN,
            edgecolor=style.FLOW,
            facecolor=style.PAPER if inferred else style.FLOW,
            shrinkA=0,
            shrinkB=0,
            mutation_scale=1.0,
            zorder=1.8,
        )
        axes.add_patch(arrow)


def _hits(points: Points, boxes: NDArray[np.float64]) -> bool:
    x, y = points[:, :1], points[:, 1:]
    return bool(
        ((x > boxes[:, 0] - 0.4) & (x < boxes[:, 2] + 0.4) & (y > boxes[:, 1] - 0.4) & (y < boxes[:, 3] + 0.4)).any()
    )


def _draw_quiet(axes: Axes, data: MapPlotData, frame: MapFrame) -> None:
    """Draw the many wells that were not measured, those that are on the sheet."""
    quiet = [point for point in data.points if point.placed and point.quiet]
    if not quiet:
        return
    places = frame.to_mm(np.array([(point.x, point.y) for point in quiet]))
    panel = frame.panel
    inside = (
        (places[:, 0] > panel.left + 0.5)
        & (places[:, 0] < panel.left + panel.width - 0.5)
        & (places[:, 1] > panel.bottom + 0.5)
        & (places[:, 1] < panel.bottom + panel.height - 0.5)
    )
    axes.plot(places[inside, 0], places[inside, 1], linestyle="none", zorder=1.6, **look(quiet[0]))


def _draw_points(axes: Axes, posted: Sequence[_Posted]) -> None:
    for posting in posted:
        if posting.point.rate:
            draw_pumped(axes, posting.x, posting.y)
            continue
        axes.plot([posting.x], [posting.y], linestyle="none", zorder=3.5, **look(posting.point))
        # A cross through it: hollow alone is easily missed among small marks.
        if not posting.point.used and posting.point.kind != "stage":
            axes.plot([posting.x], [posting.y], linestyle="none", zorder=3.6, **CROSS)
        if any(point.finding for point in posting.members):
            place, radius = (posting.x, posting.y), RING_MM - 0.2
            ring = Circle(place, radius, facecolor="none", edgecolor=style.LIMIT, linewidth=style.LINE, zorder=3.4)
            axes.add_patch(ring)


def _draw_labels(axes: Axes, posted: Sequence[_Posted]) -> None:
    for posting in posted:
        if posting.label is None:
            continue
        ha, x = draw_label_box(axes, posting.label, posting.x, _PAD_MM)
        used, top = posting.point.used, posting.label.box.top - _NAME_MM
        noticed = any(point.finding for point in posting.members)
        name_color = style.LIMIT if noticed else style.INK if used else style.SOFT
        axes.text(x, top + 0.65, posting.name, fontsize=_NAME_PT, color=name_color, ha=ha, va="baseline", zorder=3.8)
        if posting.point.value:
            axes.text(
                x,
                top - _VALUE_MM + 0.75,
                posting.point.value,
                fontsize=_VALUE_PT,
                weight="bold" if used else "normal",
                color=style.INK if used else style.SOFT,
                ha=ha,
                va="baseline",
                zorder=3.8,
            )


def _label_notes(posted: Sequence[_Posted], lists: str) -> list[Note]:
    """Return notes on labels that found no room or had to be shortened."""
    missing = [point for posting in posted if posting.label is None for point in posting.members]
    shortened = [
        ", ".join(point.name for point in posting.members)
        for posting in posted
        if "…" in posting.name and posting.label is not None
    ]
    notes = []
    where = f" Every well is listed in {lists}." if lists else ""
    if not all(posting.wanted for posting in posted):
        every = sum(len(posting.members) for posting in posted)
        notes.append(without_label(len(missing), every, lists))
    elif len(missing) > MOST_NAMED:
        notes.append(Note("Labels", (f"There is no room for the labels of {len(missing)} wells.{where}",)))
    elif missing:
        listed = ", ".join(f"{point.name} {point.value}".strip() for point in missing)
        notes.append(Note("No room on the map for the labels of", (f"{listed}.",), wells=(len(missing),)))
    if shortened:
        notes.append(Note("Names in full", tuple(shortened)))
    return notes


def _beyond_notes(data: MapPlotData, frame: MapFrame) -> list[Note]:
    """Return a note on the wells that were left out and are too far away to be drawn."""
    placed = [point for point in data.points if point.placed]
    beyond = len(placed) - len(_on_sheet(placed, frame))
    if not beyond:
        return []
    wells = "1 well that was left out lies" if beyond == 1 else f"{beyond} wells that were left out lie"
    return [Note("Beyond the map", (f"{wells} farther away than the sheet reaches.",))]
