"""Lines that heads do not reach across: shortest ways around them, so that the other side is no neighbour.

Where barriers run right through the hull of the control, each compartment is a map of its own with one covariance,
fitted to the compartment of most levels. Where one ends inside, kriging uses shortest ways around it. Covariances of
such distances need not be positive definite: in trials the spherical and exponential models were and smoother ones were
not, so only these are fitted there, and a covariance that cannot be factored is refused. Splines and triangulations
cannot go around and say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path
from scipy.spatial.distance import cdist

from gwnet.errors import SettingsError, ShapeError

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Most segments of all barriers together: distances are worked out past each of them.
MOST_SEGMENTS: Final = 200

#: How far ways keep off a corner of a barrier, as a share of the barriers' extent.
_OFF_CORNER: Final = 1e-7

#: Pairs of points and wells tested at once against a segment.
_BLOCK_PAIRS: Final = 400_000


class Barriers:
    """Lines that ways go around.

    Parameters
    ----------
    lines : sequence of numpy.ndarray, shape (k, 2)
        Corners of each line [m].

    Raises
    ------
    ShapeError
        If a line has fewer than two corners at different places.
    SettingsError
        If there are more than 200 segments.

    Notes
    -----
    The shortest way between two points that do not see each other runs from corner to corner of the barriers. Each
    corner stands a hair's breadth beside its line, once on either side, and an end a hair beyond it, so that no way
    leads through a line at its corner.
    """

    def __init__(self, lines: Sequence[Floats]) -> None:
        paths = [_without_repeats(np.asarray(line, dtype=np.float64).reshape(-1, 2)) for line in lines]
        if any(path.shape[0] < 2 for path in paths):
            raise ShapeError("A barrier needs two corners at different places at least.")
        self.lines = tuple(paths)
        self._starts = np.vstack([np.empty((0, 2)), *(path[:-1] for path in paths)])
        self._ends = np.vstack([np.empty((0, 2)), *(path[1:] for path in paths)])
        if self._starts.shape[0] > MOST_SEGMENTS:
            message = f"The barriers have {self._starts.shape[0]} segments; {MOST_SEGMENTS} can be used."
            raise SettingsError(message, fix="Simplify the lines.")
        corners = np.vstack([np.empty((0, 2)), *paths])
        off = _OFF_CORNER * float(np.max(np.ptp(corners, axis=0), initial=1e-9)) if len(corners) else 0.0
        beside = [_beside(path, off) for path in paths]
        self._corners = np.vstack([np.empty((0, 2)), *beside])
        self._between = self._joined(self._corners)

    def distances(self, points: Floats, wells: Floats) -> Floats:
        """Return the lengths of the shortest ways around the barriers.

        Parameters
        ----------
        points : numpy.ndarray, shape (m, 2)
            Points [m].
        wells : numpy.ndarray, shape (n, 2)
            Wells [m].

        Returns
        -------
        numpy.ndarray, shape (m, n)
            Distances; infinite where no way leads [m].

        Examples
        --------
        >>> wall = Barriers([np.array([[0.0, -1.0], [0.0, 3.0]])])
        >>> wall.distances(np.array([[-4.0, 0.0]]), np.array([[4.0, 0.0], [-1.0, 4.0]])).round(4).tolist()
        [[8.2462, 5.0]]
        """
        straight = cdist(points, wells)
        hidden = self._hidden(points, wells)
        if not hidden.any():
            return straight
        to_wells = self._seen(self._corners, wells)
        onward = np.min(self._between[:, :, None] + to_wells[None, :, :], axis=1)
        rows = np.flatnonzero(hidden.any(axis=1))
        to_corners = self._seen(points[rows], self._corners)
        around = np.full((rows.size, wells.shape[0]), np.inf)
        for corner in range(self._corners.shape[0]):
            np.minimum(around, to_corners[:, corner, None] + onward[corner], out=around)
        straight[rows] = np.where(hidden[rows], around, straight[rows])
        return straight

    def _joined(self, corners: Floats) -> Floats:
        """Return the shortest ways between corners."""
        if not len(corners):
            return np.empty((0, 0))
        direct = self._seen(corners, corners)
        # 0 is no way: places at one point have the same ways onward, so none between them is missed.
        steps = np.where(np.isfinite(direct), direct, 0.0)
        return np.asarray(shortest_path(steps, method="D", directed=False), dtype=np.float64)

    def _seen(self, points: Floats, others: Floats) -> Floats:
        """Return straight distances, infinite where a barrier stands between."""
        return np.where(self._hidden(points, others), np.inf, cdist(points, others))

    def _hidden(self, points: Floats, others: Floats) -> Flags:
        """Return whether a barrier stands between each point and each other one."""
        hidden = np.zeros((points.shape[0], others.shape[0]), dtype=np.bool_)
        step = max(1, _BLOCK_PAIRS // max(others.shape[0], 1))
        for first in range(0, points.shape[0], step):
            part = points[first : first + step]
            for start, end in zip(self._starts, self._ends, strict=True):
                hidden[first : first + step] |= _crosses(part, others, start, end)
        return hidden


def _crosses(points: Floats, others: Floats, start: Floats, end: Floats) -> Flags:
    """Return whether the way from each point to each other one crosses a segment or touches it."""
    along = end - start
    side_point = along[0] * (points[:, 1] - start[1]) - along[1] * (points[:, 0] - start[0])
    side_other = along[0] * (others[:, 1] - start[1]) - along[1] * (others[:, 0] - start[0])
    apart = side_point[:, None] * side_other[None, :] < 0.0
    if not apart.any():
        return np.asarray(apart, dtype=np.bool_)
    way_x, way_y = others[None, :, 0] - points[:, 0, None], others[None, :, 1] - points[:, 1, None]
    side_start = way_x * (start[1] - points[:, 1, None]) - way_y * (start[0] - points[:, 0, None])
    side_end = way_x * (end[1] - points[:, 1, None]) - way_y * (end[0] - points[:, 0, None])
    return np.asarray(apart & (side_start * side_end <= 0.0), dtype=np.bool_)


def _without_repeats(path: Floats) -> Floats:
    """Return a line without corners that repeat the one before: a step of no length has no side to turn at."""
    return path[np.append(True, np.any(np.diff(path, axis=0) != 0.0, axis=1))] if len(path) else path


def _beside(path: Floats, off: float) -> Floats:
    """Return the places at the corners of a line that ways may turn at: beyond its ends and beside its bends."""
    steps = np.diff(path, axis=0)
    steps = steps / np.hypot(steps[:, 0], steps[:, 1])[:, None]
    # So for a closed line as well: what lies beyond its two ends is beside the corner that they share.
    placed = [path[0] - off * steps[0], path[-1] + off * steps[-1]]
    for bend, (before, after) in enumerate(pairwise(steps), start=1):
        normal = np.array([-(before[1] + after[1]), before[0] + after[0]])
        size = float(np.hypot(*normal))
        if size > 1e-9:
            placed += [path[bend] + off / size * normal, path[bend] - off / size * normal]
        else:
            # A line that runs back on itself ends there.
            placed.append(path[bend] + off * before)
    return np.array(placed)
