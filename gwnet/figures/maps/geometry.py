"""Geometry of maps: rings and lines as arrays, clipping of lines at labels, spots where a contour can be labelled."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gwnet.figures.base.page import Box

Points = NDArray[np.float64]

#: A line may bend this much under its label: chord over arc.
_STRAIGHT: Final = 0.965
#: Step between spots that are tried [mm], clear room around a label [mm], distance between labels of a line [mm].
_STEP_MM: Final = 1.5
_CLEAR_MM: Final = 0.7
_NEXT_LABEL_MM: Final = 75.0
_SAME_LEVEL_MM: Final = 38.0


@dataclass(frozen=True, slots=True, eq=False)
class ContourPath:
    """A piece of a contour: text and number of its level, vertices, whether inferred or around a closed low."""

    level: str
    rank: int
    xy: Points
    inferred: bool
    depression: bool


@dataclass(frozen=True, slots=True, eq=False)
class BaseLayer:
    """The user's own geometry: name, closed rings, open lines and points.

    Its kind is base (only drawn), barrier, river (its heads are control) or above ground (where heads stand so).
    """

    name: str
    rings: tuple[Points, ...]
    lines: tuple[Points, ...]
    points: Points
    kind: str = "base"


@dataclass(frozen=True, slots=True)
class LineLabel:
    """A label on a line: middle and angle, and the stretch of the line that it covers [mm]."""

    x: float
    y: float
    angle_deg: float
    start: float
    end: float


def rings_of(boundary: Any) -> tuple[Points, ...]:
    """Return the closed rings of a boundary given as corners or as geometry; none for None."""
    if boundary is None:
        return ()
    if hasattr(boundary, "geom_type"):
        return tuple(ring for kind, ring in _parts(boundary) if kind == "ring")
    corners = np.asarray(boundary, dtype=np.float64).reshape(-1, 2)
    if len(corners) < 3:
        return ()
    if not np.all(corners[0] == corners[-1]):
        corners = np.vstack([corners, corners[:1]])
    return (corners,)


def base_layers(layers: Sequence[tuple[str, Any]], *, kind: str = "base") -> tuple[BaseLayer, ...]:
    """Return the user's layers as arrays; each geometry is one, a sequence or a frame of geometries."""
    pieces = []
    for name, geometry in layers:
        shapes = getattr(geometry, "geometry", geometry)
        parts = [part for shape in ([shapes] if hasattr(shapes, "geom_type") else shapes) for part in _parts(shape)]
        pieces.append(
            BaseLayer(
                name=name,
                rings=tuple(points for what, points in parts if what == "ring"),
                lines=tuple(points for what, points in parts if what == "line"),
                points=np.vstack([np.empty((0, 2)), *(points for what, points in parts if what == "point")]),
                kind=kind,
            )
        )
    return tuple(pieces)


def _parts(shape: Any) -> Iterator[tuple[str, Points]]:
    if shape is None or shape.is_empty:
        return
    if hasattr(shape, "geoms"):
        for piece in shape.geoms:
            yield from _parts(piece)
    elif hasattr(shape, "exterior"):
        for ring in (shape.exterior, *shape.interiors):
            yield "ring", np.asarray(ring.coords, dtype=np.float64)[:, :2]
    else:
        kind = "point" if shape.geom_type == "Point" else "line"
        yield kind, np.asarray(shape.coords, dtype=np.float64)[:, :2]


def hull_share(points: Points, area: float) -> float:
    """Return which part of an area the convex hull of points covers, both in the same unit."""
    from shapely import MultiPoint

    return float(MultiPoint(np.asarray(points, dtype=np.float64)).convex_hull.area) / area


def distances_along(xy: Points) -> NDArray[np.float64]:
    """Return the distance from the start of a line to each of its vertices."""
    steps = np.hypot(*np.diff(xy, axis=0).T) if len(xy) > 1 else np.empty(0)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _at(xy: Points, along: NDArray[np.float64], where: NDArray[np.float64]) -> Points:
    return np.column_stack([np.interp(where, along, xy[:, 0]), np.interp(where, along, xy[:, 1])])


def cut_out(xy: Points, gaps: Sequence[tuple[float, float]]) -> list[Points]:
    """Return what is left of a line when stretches of it are cut out.

    Parameters
    ----------
    xy : numpy.ndarray, shape (n, 2)
        Vertices.
    gaps : sequence of tuple of float
        Start and end of each stretch, as distances along the line.

    Returns
    -------
    list of numpy.ndarray
        Pieces in order.
    """
    along = distances_along(xy)
    pieces = []
    start = 0.0
    for low, high in [*sorted(gaps), (float(along[-1]), math.inf)]:
        if low > start:
            inside = (along > start) & (along < low)
            ends = _at(xy, along, np.array([start, low]))
            pieces.append(np.vstack([ends[:1], xy[inside], ends[1:]]))
        start = max(start, high)
    return pieces


def label_spots(
    xy: Points,
    width: float,
    height: float,
    room: Box,
    boxes: NDArray[np.float64],
    standing: NDArray[np.float64],
    *,
    same: NDArray[np.float64] | None = None,
    most: int = 3,
) -> list[LineLabel]:
    """Return where a line can carry its label: straight enough, clear of everything, as near its middle as may be.

    Parameters
    ----------
    xy : numpy.ndarray, shape (n, 2)
        Vertices [mm].
    width, height : float
        Size of the label [mm].
    room : Box
        Where labels may stand.
    boxes : numpy.ndarray, shape (k, 4)
        Left, bottom, right and upper edge of what must stay clear.
    standing : numpy.ndarray, shape (j, 2)
        Middles of the labels on other lines, from which to keep a distance.
    same : numpy.ndarray, shape (i, 2), optional
        Middles of labels of the same level, which need no other one near.
    most : int, optional
        Most labels of the line.

    Returns
    -------
    list of LineLabel
        The best first; long lines have more than one.
    """
    along = distances_along(xy)
    total = float(along[-1])
    # The line would be hidden by its label.
    if total < 1.6 * width:
        return []
    # Not at the ends: half the label and a little more of line on either side.
    where = np.arange(0.62 * width, total - 0.62 * width + 1e-9, _STEP_MM)
    if not where.size:
        return []
    middle, tail, tip = (_at(xy, along, where + shift * width) for shift in (0.0, -0.5, 0.5))
    chord = tip - tail
    length = np.hypot(chord[:, 0], chord[:, 1])
    straight = length / width
    free = (straight > _STRAIGHT) & _clear(middle, chord, length, width, height, room, boxes)
    near = np.zeros(where.size)
    if standing.size:
        away = np.hypot(middle[:, None, 0] - standing[None, :, 0], middle[:, None, 1] - standing[None, :, 1])
        free &= (away > width + 1.5).all(axis=1)
        near = np.maximum(0.0, 1 - away.min(axis=1) / 25.0)
    if same is not None and same.size:
        away = np.hypot(middle[:, None, 0] - same[None, :, 0], middle[:, None, 1] - same[None, :, 1])
        free &= (away > _SAME_LEVEL_MM).all(axis=1)
    score = 12.0 * (1 - straight) + np.abs(where / total - 0.5) + near
    chosen: list[LineLabel] = []
    for i in np.argsort(np.where(free, score, np.inf), kind="stable"):
        if not free[i] or len(chosen) >= most:
            break
        if any(abs(where[i] - (spot.start + spot.end) / 2) < _NEXT_LABEL_MM for spot in chosen):
            continue
        chosen.append(
            LineLabel(
                float(middle[i, 0]),
                float(middle[i, 1]),
                _readable(chord[i]),
                float(where[i] - width / 2 - _CLEAR_MM),
                float(where[i] + width / 2 + _CLEAR_MM),
            )
        )
    return chosen


def spot_beside(
    xy: Points, width: float, height: float, room: Box, boxes: NDArray[np.float64], standing: NDArray[np.float64]
) -> LineLabel | None:
    """Return where the label of a line too short to carry it can stand beside its middle; None when nowhere.

    Parameters
    ----------
    xy : numpy.ndarray, shape (n, 2)
        Vertices [mm].
    width, height, room, boxes, standing
        As in `label_spots`.

    Returns
    -------
    LineLabel or None
        A level label that covers no stretch of the line.
    """
    along = distances_along(xy)
    middle = _at(xy, along, np.array([along[-1] / 2]))
    chord = xy[-1:] - xy[:1]
    length = np.hypot(chord[:, 0], chord[:, 1])
    if not length[0] > 0:
        return None
    across = np.array([[-chord[0, 1], chord[0, 0]]]) / length[0]
    for shift in (0.5, -0.5):
        place = middle + across * (shift * (height + 1.2))
        near = standing.size and np.hypot(*(standing - place).T).min() < width
        if not near and _clear(place, chord, length, width, height, room, boxes)[0]:
            return LineLabel(float(place[0, 0]), float(place[0, 1]), _readable(chord[0]), 0.0, 0.0)
    return None


def _readable(chord: Points) -> float:
    """Return the angle of a chord, turned so that text along it is upright [degrees]."""
    angle = math.degrees(math.atan2(chord[1], chord[0]))
    # Text that runs down the page to the left would stand on its head.
    return angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle


def _clear(
    middle: Points,
    chord: Points,
    length: NDArray[np.float64],
    width: float,
    height: float,
    room: Box,
    boxes: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Return whether a label turned along its chord stays within the room and clear of boxes."""
    unit = chord / np.maximum(length, 1e-9)[:, None]
    normal = np.column_stack([-unit[:, 1], unit[:, 0]])
    # A turned label is looked at in fifteen spots: its upright box would be far too large.
    shifts = [(a * width, b * height) for a in (-0.5, -0.25, 0.0, 0.25, 0.5) for b in (-0.5, 0.0, 0.5)]
    spots = np.stack([middle + unit * a + normal * b for a, b in shifts], axis=1)
    x, y = spots[..., 0], spots[..., 1]
    inside = (x > room.left) & (x < room.right) & (y > room.bottom) & (y < room.top)
    free = np.asarray(inside.all(axis=1), dtype=bool)
    if boxes.size:
        gap = _CLEAR_MM / 2
        hit = (
            (x[..., None] > boxes[:, 0] - gap)
            & (x[..., None] < boxes[:, 2] + gap)
            & (y[..., None] > boxes[:, 1] - gap)
            & (y[..., None] < boxes[:, 3] + gap)
        )
        free &= ~np.asarray(hit.any(axis=(1, 2)), dtype=bool)
    return free


def hachures(
    xy: Points, spacing: float, length: float, gaps: Sequence[tuple[float, float]], inside: tuple[float, float]
) -> Points:
    """Return ticks along a line around a low, pointing inward.

    Parameters
    ----------
    xy : numpy.ndarray, shape (n, 2)
        Vertices; inward is the enclosed side of a closed line [mm].
    spacing, length : float
        Distance between ticks and their length [mm].
    gaps : sequence of tuple of float
        Stretches that stay free, as distances along the line [mm].
    inside : tuple of float
        A point in the low, which tells the inward side of a line that is not closed [mm].

    Returns
    -------
    numpy.ndarray, shape (k, 2, 2)
        Ends of each tick: on the line, and inside.
    """
    along = distances_along(xy)
    total = float(along[-1])
    count = max(round(total / spacing), 1)
    where = (np.arange(count) + 0.5) * total / count
    for low, high in gaps:
        where = where[(where < low) | (where > high)]
    if not where.size:
        return np.empty((0, 2, 2))
    nudge = min(0.2, total / 50)
    tangent = _at(xy, along, np.minimum(where + nudge, total)) - _at(xy, along, np.maximum(where - nudge, 0.0))
    size = np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-12)
    # A line cut by the edge of control is closed through a point of the low, which says on which side that is.
    closed = xy if np.all(xy[0] == xy[-1]) else np.vstack([xy, [inside], xy[:1]])
    area = 0.5 * float(np.sum(closed[:-1, 0] * closed[1:, 1] - closed[1:, 0] * closed[:-1, 1]))
    side = 1.0 if area > 0 else -1.0
    inward = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / size[:, None] * side
    start = _at(xy, along, where)
    return np.stack([start, start + inward * length], axis=1)
