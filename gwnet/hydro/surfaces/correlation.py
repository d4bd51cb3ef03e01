"""Correlation of heads with distance, worked out in place over blocks of nodes that stay near the processor.

Squared distances come from differences of coordinates and not from products of them, so that a node at a well has the
distance 0 and not a rounded one. On the crossings of lines the squares of each line are worked out once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

Floats = NDArray[np.float64]
Positions = NDArray[np.int64]

#: Lines of a square tile of nodes.
_TILE_LINES: Final = 20

#: Numbers held at once for a block of nodes: half a megabyte, twice.
BLOCK_VALUES: Final = 65_536

#: The same where each block is solved for as well: longer blocks make fewer solves.
SOLVED_BLOCK_VALUES: Final = 262_144

#: Correlation at no distance of the linear model, which has no sill: any constant may be added to it where the weights
#: sum to one, and this one keeps it positive definite over ten ranges.
LINEAR_AT_ZERO: Final = 20.0

_MATERN_FACTOR: Final = 4.743864518  # (1 + t) exp(-t) = 0.05


def _spherical(squared: Floats, scratch: Floats) -> None:
    """1 − 1.5 r + 0.5 r³ below 1, and 0 beyond."""
    np.minimum(squared, 1.0, out=squared)
    np.sqrt(squared, out=scratch)
    squared -= 3.0
    squared *= scratch
    squared *= 0.5
    squared += 1.0


def _exponential(squared: Floats, scratch: Floats) -> None:
    np.sqrt(squared, out=scratch)
    scratch *= -3.0
    np.exp(scratch, out=squared)


def _gaussian(squared: Floats, _scratch: Floats) -> None:
    squared *= -3.0
    np.exp(squared, out=squared)


def _matern(squared: Floats, scratch: Floats) -> None:
    np.sqrt(squared, out=scratch)
    scratch *= _MATERN_FACTOR
    np.negative(scratch, out=squared)
    np.exp(squared, out=squared)
    scratch += 1.0
    squared *= scratch


def _linear(squared: Floats, _scratch: Floats) -> None:
    np.sqrt(squared, out=squared)
    np.subtract(LINEAR_AT_ZERO, squared, out=squared)


_IN_PLACE: Final[Mapping[str, Callable[[Floats, Floats], None]]] = {
    "spherical": _spherical,
    "exponential": _exponential,
    "gaussian": _gaussian,
    "matern": _matern,
    "linear": _linear,
}

#: Names of the models.
MODELS: Final = tuple(_IN_PLACE)


def correlate(model: str, squared: Floats, scratch: Floats | None = None) -> Floats:
    """Turn squared distances into correlations, in place.

    Parameters
    ----------
    model : str
        One of `MODELS`.
    squared : numpy.ndarray
        Squares of distance over range; overwritten.
    scratch : numpy.ndarray, optional
        Array of the same shape to work in; overwritten.

    Returns
    -------
    numpy.ndarray
        `squared`, which now holds correlations from 0 to 1; of the linear model 20 less distance over range.
    """
    _IN_PLACE[model](squared, np.empty_like(squared) if scratch is None else scratch)
    return squared


def squared_blocks(
    x: Floats, y: Floats, wells: Floats, values: int | None = None
) -> Iterator[tuple[slice, Floats, Floats]]:
    """Give the squared distances of nodes from wells, block by block.

    Parameters
    ----------
    x, y : numpy.ndarray
        Nodes of shapes that broadcast; lines of shapes (1, nx) and (ny, 1) cross each other.
    wells : numpy.ndarray, shape (n, 2)
        Wells in the same unit.
    values : int, optional
        Numbers held at once for a block.

    Yields
    ------
    tuple
        Which nodes, counted row by row, and two arrays of shape (nodes, n): squared distances, and room to work in.
        Both are used again for the next block.
    """
    most = BLOCK_VALUES if values is None else values
    if x.ndim == y.ndim == 2 and x.shape[0] == 1 and y.shape[1] == 1:
        yield from _crossings(x[0], y[:, 0], wells, most)
        return
    xs, ys = np.broadcast_arrays(x, y)
    points = np.column_stack([xs.ravel(), ys.ravel()])
    step = max(1, most // wells.shape[0])
    room, scratch = (np.empty((min(step, points.shape[0]), wells.shape[0])) for _ in range(2))
    for first in range(0, points.shape[0], step):
        part = points[first : first + step]
        squared = room[: part.shape[0]]
        cdist(part, wells, "sqeuclidean", out=squared)
        yield slice(first, first + part.shape[0]), squared, scratch[: part.shape[0]]


def _crossings(x: Floats, y: Floats, wells: Floats, most: int) -> Iterator[tuple[slice, Floats, Floats]]:
    count = wells.shape[0]
    step = min(max(1, most // count), x.size)
    rows = max(1, most // (count * step)) if step == x.size else 1
    across, along = (x[:, None] - wells[:, 0]) ** 2, (y[:, None] - wells[:, 1]) ** 2
    room, scratch = np.empty((rows, step, count)), np.empty((rows, step, count))
    for low in range(0, y.size, rows):
        high = min(low + rows, y.size)
        for first in range(0, x.size, step):
            last = min(first + step, x.size)
            squared = room[: high - low, : last - first]
            np.add(across[None, first:last], along[low:high, None], out=squared)
            nodes = (high - low) * (last - first)
            start = low * x.size + first
            own = scratch[: high - low, : last - first]
            yield slice(start, start + nodes), squared.reshape(nodes, count), own.reshape(nodes, count)


def reached_share(x: Floats, y: Floats, wells: Floats) -> float:
    """Return about which share of the wells stands within one range of a tile of nodes.

    Parameters
    ----------
    x, y : numpy.ndarray
        Nodes.
    wells : numpy.ndarray, shape (n, 2)
        Wells; all in ranges.

    Returns
    -------
    float
        At most 1; also 1 where the nodes are not crossings of enough lines for tiles to pay.
    """
    if not (x.ndim == y.ndim == 2 and x.shape[0] == 1 and y.shape[1] == 1 and min(x.size, y.size) > 2 * _TILE_LINES):
        return 1.0
    width, height = (_TILE_LINES * float(np.ptp(lines)) / lines.size for lines in (x, y))
    reached = np.pi + 2.0 * (width + height) + width * height
    extent = float(np.prod(np.maximum(np.ptp(wells, axis=0), 1e-12)))
    return min(1.0, reached / extent)


def squared_tiles(x: Floats, y: Floats, wells: Floats) -> Iterator[tuple[Positions, Positions, Floats]]:
    """Give the squared distances of nodes from the wells within one range of them, tile by tile.

    Parameters
    ----------
    x, y : numpy.ndarray, shapes (1, nx) and (ny, 1)
        Lines whose crossings are the nodes, in ranges.
    wells : numpy.ndarray, shape (n, 2)
        Wells in ranges.

    Yields
    ------
    tuple
        Which nodes, counted row by row; which wells; and squared distances of shape (nodes, wells). Wells that are not
        named stand a range or more from every node of the tile.
    """
    across, along = (x[0][:, None] - wells[:, 0]) ** 2, (y[:, 0][:, None] - wells[:, 1]) ** 2
    numbers = np.arange(x.size * y.size).reshape(y.size, x.size)
    for low in range(0, y.size, _TILE_LINES):
        rows = slice(low, low + _TILE_LINES)
        for first in range(0, x.size, _TILE_LINES):
            columns = slice(first, first + _TILE_LINES)
            away = _beyond(x[0, columns], wells[:, 0]) ** 2 + _beyond(y[rows, 0], wells[:, 1]) ** 2
            near = np.flatnonzero(away < 1.0)
            squared = along[rows, near][:, None] + across[columns, near][None, :]
            nodes = numbers[rows, columns].ravel()
            yield nodes, near, squared.reshape(nodes.size, near.size)


def _beyond(lines: Floats, wells: Floats) -> Floats:
    """Return how far wells stand outside the band that lines cover; 0 within it."""
    beyond: Floats = np.maximum(np.maximum(lines.min() - wells, wells - lines.max()), 0.0)
    return beyond
