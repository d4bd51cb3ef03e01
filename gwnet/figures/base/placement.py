"""Places labels so that they do not collide: along a line, and around points of a map. Same input, same places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.figures.base.page import Box

#: Distances of a label from its point [mm] and directions that are tried, the best first.
_DISTANCES: Final = (0.3, 1.2, 2.4, 4.0, 6.0, 8.5, 11.5)
_FAR_DISTANCES: Final = (15.0, 19.0, 24.0, 30.0, 36.0, 43.0, 51.0, 60.0, 72.0)
_DIRECTIONS: Final = (45, 0, 315, 90, 135, 180, 270, 225, 22, 67, 338, 293, 112, 157, 202, 247, *range(11, 360, 22))
#: From this distance on, a line leads from the point to its label [mm].
LEADER_FROM: Final = 2.0
_PASSES: Final = 4
#: With more labels than this, or more without a place, the slower ways to find room are not tried.
_MOST_AGAIN: Final = 60
_MOST_LOST: Final = 12
#: What a label costs: direction, distance [1/mm], ink beneath it, crossing of two leaders, doubt which point it
#: belongs to, a point under its leader.
_COST_DIRECTION: Final = 0.08
_COST_DISTANCE: Final = 0.7
_COST_INK: Final = 0.22
_COST_CROSSING: Final = 6.0
_COST_DOUBT: Final = 1.2
_COST_POINT: Final = 5.0
#: A label nearer to another point than this beyond the distance to its own needs a line to it [mm].
_DOUBT_MM: Final = 0.35
#: Clear room around points and labels [mm].
_CLEAR: Final = 0.25

Boxes = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Anchor:
    """A point with the size of its label.

    Parameters
    ----------
    x, y : float
        Where the point is [mm].
    width, height : float
        Size of the label [mm].
    radius : float
        Half the height of the point's symbol [mm].
    half_width : float
        Half its width, where it is wider than high [mm].
    rank : int
        Labels of a lower rank choose before those of a higher one and are never moved for them.
    """

    x: float
    y: float
    width: float
    height: float
    radius: float = 1.0
    half_width: float = 0.0
    rank: int = 0

    @property
    def reach(self) -> float:
        """Half the width of the symbol [mm]."""
        return max(self.radius, self.half_width)


@dataclass(frozen=True, slots=True)
class PlacedLabel:
    """Where a label is, and the line that leads to it: empty when it is beside its point."""

    box: Box
    leader: tuple[tuple[float, float], ...] = ()


def place_labels(
    anchors: Sequence[Anchor],
    room: Box,
    *,
    taken: Sequence[Box] = (),
    ink: NDArray[np.float64] | None = None,
) -> list[PlacedLabel | None]:
    """Place a label at each point so that no label meets another, a point or anything taken.

    Parameters
    ----------
    anchors : sequence of Anchor
        Points and the sizes of their labels [mm].
    room : Box
        Where labels may stand.
    taken : sequence of Box, optional
        Where no label may stand.
    ink : numpy.ndarray, shape (k, 2), optional
        Points of lines that labels should rather not cover.

    Returns
    -------
    list of PlacedLabel or None
        One for each point, in order; None where no free place was found.

    Notes
    -----
    Each label has candidates around its point, in rings. The most hemmed-in label chooses first; then, a few times
    over, each label is taken up and put where it is best among the others. No chance is involved.
    """
    if not anchors:
        return []
    around = _Surroundings(_point_boxes(anchors), room, taken, ink)
    tables = [_candidates(anchors, i, around, _DISTANCES) for i in range(len(anchors))]
    chosen: list[int] = [-1] * len(anchors)
    # What matters most has the choice; a lower rank is lost before it pushes a higher one away.
    for rank in sorted({anchor.rank for anchor in anchors}):
        members = [i for i, anchor in enumerate(anchors) if anchor.rank == rank]
        # Those with the fewest places first; places of equal labels by coordinates, so that the order of the table does
        # not show.
        order = sorted(members, key=lambda i: (_free_near(tables[i]), anchors[i].x, anchors[i].y, i))
        _place_rank(anchors, around, order, tables, chosen)
    return [_placed(tables[i], chosen[i]) for i in range(len(anchors))]


@dataclass(frozen=True, slots=True, eq=False)
class _Surroundings:
    """What every label has to reckon with: all points, the room, what is taken, ink."""

    points: Boxes
    room: Box
    taken: Sequence[Box]
    ink: NDArray[np.float64] | None


def _place_rank(
    anchors: Sequence[Anchor],
    around: _Surroundings,
    order: Sequence[int],
    tables: list[_Candidates],
    chosen: list[int],
) -> None:
    """Place the labels of one rank; those without a place near their point look farther away."""
    _settle(order, tables, chosen)
    lost = [i for i in order if chosen[i] < 0]
    for i in lost:
        tables[i] = _candidates(anchors, i, around, _DISTANCES + _FAR_DISTANCES)
    if lost:
        _settle(order, tables, chosen)
    lost = [i for i in order if chosen[i] < 0]
    if lost and len(order) <= _MOST_AGAIN:
        _start_again(anchors, around, order, tables, chosen)


def _settle(order: Sequence[int], tables: Sequence[_Candidates], chosen: list[int]) -> None:
    """Put each label where it is best among the others, a few times over, until nothing moves."""
    for _ in range(_PASSES):
        before = list(chosen)
        for i in order:
            chosen[i] = _best(i, tables, chosen)
        # With many labels lost the sheet is full, and moving single ones finds nothing at the cost of n² looks.
        if sum(chosen[i] < 0 for i in order) <= _MOST_LOST:
            _make_room(order, tables, chosen)
        # Nothing moved: further passes would find the same.
        if chosen == before:
            return


def _start_again(
    anchors: Sequence[Anchor],
    around: _Surroundings,
    order: Sequence[int],
    tables: list[_Candidates],
    chosen: list[int],
) -> None:
    """Let every label of a rank choose among near and far places from the start; keep what leaves fewer out."""
    old_tables, old_chosen = list(tables), list(chosen)
    for i in order:
        tables[i], chosen[i] = _candidates(anchors, i, around, _DISTANCES + _FAR_DISTANCES), -1
    _settle(order, tables, chosen)
    # Only fewer lost labels are worth longer leaders.
    if sum(chosen[i] < 0 for i in order) >= sum(old_chosen[i] < 0 for i in order):
        tables[:], chosen[:] = old_tables, old_chosen


@dataclass(frozen=True, slots=True, eq=False)
class _Candidates:
    boxes: Boxes
    cost: NDArray[np.float64]
    leaders: NDArray[np.float64]
    has_leader: NDArray[np.bool_]


def _free_near(table: _Candidates) -> int:
    return int((~table.has_leader).sum())


def _candidates(
    anchors: Sequence[Anchor], index: int, around: _Surroundings, distances: Sequence[float]
) -> _Candidates:
    """Return the candidates of one label that meet neither points nor taken room, with their fixed cost."""
    own = anchors[index]
    angle = np.radians(np.tile(_DIRECTIONS, len(distances)))
    distance = np.repeat(distances, len(_DIRECTIONS))
    way = np.column_stack([np.cos(angle), np.sin(angle)])
    size, symbol = np.array([own.width, own.height]), np.array([own.reach, own.radius])
    place = np.array([own.x, own.y])
    middle = place + way * (symbol + distance[:, None]) + np.clip(1.4 * way, -1.0, 1.0) * size / 2
    boxes = np.hstack([middle - size / 2, middle + size / 2])
    cost = np.tile(np.arange(len(_DIRECTIONS)) * _COST_DIRECTION, len(distances)) + distance * _COST_DISTANCE
    # A hair of overlap is allowed: a label may touch its own symbol.
    keep = _inside(boxes, around.room) & ~_meets(boxes, around.points, -1e-9).any(axis=1)
    if around.taken:
        blocked = np.array([(b.left, b.bottom, b.right, b.top) for b in around.taken])
        keep &= ~_meets(boxes, blocked, 0.0).any(axis=1)
    boxes, cost, way, distance = boxes[keep], cost[keep], way[keep], distance[keep]
    others = np.delete(around.points, index, axis=0)
    doubtful = _nearer_to_others(boxes, around.points[index], others)
    has_leader = (distance >= LEADER_FROM) | doubtful
    leaders = np.hstack([place + way * symbol, np.clip(place, boxes[:, :2], boxes[:, 2:])])
    cost = cost + _COST_DOUBT * doubtful
    # A line that runs through another point would be taken to lead to that one.
    cost = cost + _COST_POINT * _leader_meets(leaders, others, 0.0).sum(axis=1) * has_leader
    if around.ink is not None and around.ink.size and boxes.size:
        cost = cost + _COST_INK * _points_within(around.ink, boxes)
    return _Candidates(boxes, cost, leaders, has_leader)


def _nearer_to_others(boxes: Boxes, own: NDArray[np.float64], others: Boxes) -> NDArray[np.bool_]:
    """Return whether a label is about as near to another point as to its own, so that a line must show which."""
    if not others.size:
        return np.zeros(len(boxes), dtype=bool)
    mine = _gaps(boxes, own[None, :])[:, 0]
    return np.asarray(_gaps(boxes, others).min(axis=1) < mine + _DOUBT_MM, dtype=bool)


def _gaps(boxes: Boxes, others: Boxes) -> NDArray[np.float64]:
    """Return the clear distance from each box (row) to each other (column); 0 where they meet."""
    a, b = boxes[:, None, :], others[None, :, :]
    across = np.maximum(np.maximum(b[..., 0] - a[..., 2], a[..., 0] - b[..., 2]), 0.0)
    up = np.maximum(np.maximum(b[..., 1] - a[..., 3], a[..., 1] - b[..., 3]), 0.0)
    return np.asarray(np.hypot(across, up), dtype=np.float64)


def _point_boxes(anchors: Sequence[Anchor]) -> Boxes:
    return np.array([(a.x - a.reach, a.y - a.radius, a.x + a.reach, a.y + a.radius) for a in anchors])


def _inside(boxes: Boxes, room: Box) -> NDArray[np.bool_]:
    low = (boxes[:, :2] >= (room.left, room.bottom)).all(axis=1)
    high = (boxes[:, 2:] <= (room.right, room.top)).all(axis=1)
    return np.asarray(low & high, dtype=bool)


def _meets(boxes: Boxes, others: Boxes, clear: float) -> NDArray[np.bool_]:
    """Return for each box (row) and each other (column) whether they come closer than a clear distance."""
    a, b = boxes[:, None, :], others[None, :, :]
    meets: NDArray[np.bool_] = (
        (a[..., 0] < b[..., 2] + clear)
        & (b[..., 0] < a[..., 2] + clear)
        & (a[..., 1] < b[..., 3] + clear)
        & (b[..., 1] < a[..., 3] + clear)
    )
    return meets


def _points_within(points: NDArray[np.float64], boxes: Boxes) -> NDArray[np.float64]:
    x, y = points[None, :, 0], points[None, :, 1]
    inside = (x >= boxes[:, :1]) & (x <= boxes[:, 2:3]) & (y >= boxes[:, 1:2]) & (y <= boxes[:, 3:4])
    counts: NDArray[np.float64] = inside.sum(axis=1).astype(np.float64)
    return counts


def _leader_meets(leaders: NDArray[np.float64], boxes: Boxes, clear: float) -> NDArray[np.bool_]:
    """Return for each leader (row) and each box (column) whether the leader runs through the box."""
    if not leaders.size or not boxes.size:
        return np.zeros((len(leaders), len(boxes)), dtype=bool)
    enter = np.zeros((len(leaders), len(boxes)))
    leave = np.ones_like(enter)
    apart = np.zeros_like(enter, dtype=bool)
    for axis in (0, 1):
        start = leaders[:, axis, None]
        way = leaders[:, axis + 2, None] - start
        low, high = boxes[None, :, axis] - clear, boxes[None, :, axis + 2] + clear
        # Along this axis the leader stands still, and dividing by its way would give NaN.
        still = way == 0
        step = np.where(still, 1.0, way)
        first, second = (low - start) / step, (high - start) / step
        enter = np.maximum(enter, np.where(still, 0.0, np.minimum(first, second)))
        leave = np.minimum(leave, np.where(still, 1.0, np.maximum(first, second)))
        apart |= still & ((start <= low) | (start >= high))
    met = (enter < leave) & ~apart
    return np.asarray(met, dtype=bool)


def _crossings(leaders: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how many of the other leaders each leader crosses."""
    a, b = leaders[:, None, :], others[None, :, :]

    def side(p: NDArray[np.float64], q: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        dx, dy = p[..., 2] - p[..., 0], p[..., 3] - p[..., 1]
        first = dx * (q[..., 1] - p[..., 1]) - dy * (q[..., 0] - p[..., 0])
        second = dx * (q[..., 3] - p[..., 1]) - dy * (q[..., 2] - p[..., 0])
        return first, second

    near, far = side(a, b)
    three, four = side(b, a)
    crossed: NDArray[np.float64] = ((near * far < 0) & (three * four < 0)).sum(axis=1).astype(np.float64)
    return crossed


def _best(index: int, tables: Sequence[_Candidates], chosen: Sequence[int], ignore: int = -1) -> int:
    """Return the cheapest candidate that is free among the labels that stand; -1 when none is."""
    table = tables[index]
    if not table.boxes.size:
        return -1
    standing = [j for j in range(len(tables)) if j not in (index, ignore) and chosen[j] >= 0]
    if not standing:
        return int(np.argmin(table.cost))
    boxes = np.array([tables[j].boxes[chosen[j]] for j in standing])
    leading = [j for j in standing if tables[j].has_leader[chosen[j]]]
    free = ~_meets(table.boxes, boxes, _CLEAR).any(axis=1)
    free &= ~(_leader_meets(table.leaders, boxes, 0.1).any(axis=1) & table.has_leader)
    cost = table.cost
    if leading:
        leaders = np.array([tables[j].leaders[chosen[j]] for j in leading])
        free &= ~_leader_meets(leaders, table.boxes, 0.1).any(axis=0)
        cost = cost + _COST_CROSSING * _crossings(table.leaders, leaders) * table.has_leader
    if not free.any():
        return -1
    # The first of equal costs, so that one set of points gives one sheet.
    return int(np.argmin(np.where(free, cost, np.inf)))


def _make_room(order: Sequence[int], tables: Sequence[_Candidates], chosen: list[int]) -> None:
    """Give a label without a place one that becomes free when a single other label moves."""
    for i in order:
        if chosen[i] >= 0:
            continue
        for j in order:
            if j == i or chosen[j] < 0:
                continue
            there = _best(i, tables, chosen, ignore=j)
            if there < 0:
                continue
            old, chosen[i], chosen[j] = chosen[j], there, -1
            chosen[j] = _best(j, tables, chosen)
            if chosen[j] >= 0:
                break
            chosen[i], chosen[j] = -1, old


def _placed(table: _Candidates, choice: int) -> PlacedLabel | None:
    if choice < 0:
        return None
    left, bottom, right, top = (float(edge) for edge in table.boxes[choice])
    box = Box(left, bottom, right - left, top - bottom)
    if not table.has_leader[choice]:
        return PlacedLabel(box)
    x0, y0, x1, y1 = (float(value) for value in table.leaders[choice])
    return PlacedLabel(box, ((x0, y0), (x1, y1)))


def spread(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> list[float]:
    """Move labels along a line as little as needed so that none overlaps another.

    Parameters
    ----------
    wanted : sequence of float
        Wanted centres.
    heights : sequence of float
        Lengths of the labels along the line.
    low, high : float
        Ends of the line.

    Returns
    -------
    list of float
        Centres, in the order of the input; labels keep the order of their wanted centres. Where they need more room
        than there is, they run over the upper end rather than into each other.

    Notes
    -----
    Least squares under order constraints by pooling adjacent blocks: neighbours that would overlap form a block,
    whose middle is the mean of what its members want.
    """
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], i))
    blocks: list[tuple[list[int], float, float]] = []
    for i in order:
        members, length = [i], heights[i]
        centre = _within(wanted[i], length, low, high)
        # Labels that meet become one block around the mean of their wishes, which moves each as little as can be; it
        # may in turn meet the block before.
        while blocks and blocks[-1][1] + blocks[-1][2] / 2 > centre - length / 2 + 1e-9:
            earlier, _, earlier_length = blocks.pop()
            members = [*earlier, *members]
            length += earlier_length
            centre = _within(_block_centre(members, wanted, heights), length, low, high)
        blocks.append((members, centre, length))
    centres = [0.0] * len(wanted)
    for members, centre, length in blocks:
        edge = centre - length / 2
        for i in members:
            centres[i] = edge + heights[i] / 2
            edge += heights[i]
    return centres


def _block_centre(members: Sequence[int], wanted: Sequence[float], heights: Sequence[float]) -> float:
    length = sum(heights[i] for i in members)
    edge, total = 0.0, 0.0
    for i in members:
        total += wanted[i] - (edge + heights[i] / 2)
        edge += heights[i]
    return total / len(members) + length / 2


def _within(centre: float, length: float, low: float, high: float) -> float:
    return max(min(centre, high - length / 2), low + length / 2)
