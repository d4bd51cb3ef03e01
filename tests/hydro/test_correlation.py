"""Blocks and tiles of squared distances: what they hold, how large they are, and which wells they may leave out."""

import numpy as np
import pytest
import shapely

from gwnet.hydro.surfaces.correlation import (
    MODELS,
    correlate,
    reached_share,
    squared_blocks,
    squared_tiles,
)

RANDOM = np.random.default_rng(4)
WELLS = RANDOM.uniform(0.0, 9.0, (7, 2))
LINES = np.sort(RANDOM.uniform(0.0, 9.0, 11))[None, :], np.sort(RANDOM.uniform(0.0, 9.0, 6))[:, None]


@pytest.mark.parametrize(
    ("model", "by_hand"),
    [
        ("spherical", lambda r: np.where(r < 1, 1 - 1.5 * r + 0.5 * r**3, 0.0)),
        ("exponential", lambda r: np.exp(-3 * r)),
        ("gaussian", lambda r: np.exp(-3 * r**2)),
        ("matern", lambda r: (1 + 4.743864518 * r) * np.exp(-4.743864518 * r)),
        ("linear", lambda r: 20 - r),
    ],
)
def test_correlations_by_their_formulas(model, by_hand):
    """As the docstring of `Covariance` gives them; the matérn factor is the root of (1 + t) exp(-t) = 0.05."""
    r = np.array([[0.0, 0.1, 0.37], [0.9, 1.0, 2.6]])
    scratch = np.empty_like(r)
    for room in (None, scratch):
        assert correlate(model, r**2, room) == pytest.approx(by_hand(r), rel=1e-13, abs=1e-15)
    assert tuple(MODELS) == ("spherical", "exponential", "gaussian", "matern", "linear")
    assert (1 + 4.743864518) * np.exp(-4.743864518) == pytest.approx(0.05, rel=1e-9)


def blocks_of(x, y, values):
    """Return the squared distances of all nodes, put together from blocks, and how many nodes each block has."""
    count = int(np.prod(np.broadcast_shapes(x.shape, y.shape)))
    whole, sizes = np.full((count, len(WELLS)), np.nan), []
    for nodes, squared, scratch in squared_blocks(x, y, WELLS, values):
        assert scratch.shape == squared.shape
        assert np.isnan(whole[nodes]).all()
        whole[nodes] = squared
        sizes.append(squared.shape[0])
    return whole, sizes


@pytest.mark.parametrize(
    ("values", "single", "crossing"),
    [
        # seven wells: a block of 70 numbers holds ten nodes; of crossings whole rows of 11, or parts of one row
        (70, [10] * 6 + [6], [10, 1] * 6),
        (77, [11] * 6, [11] * 6),
        (153, [21] * 3 + [3], [11] * 6),
        (154, [22] * 3, [22] * 3),
        (35, [5] * 13 + [1], [5, 5, 1] * 6),
        (7, [1] * 66, [1] * 66),
        (3, [1] * 66, [1] * 66),
        (5000, [66], [66]),
        (None, [66], [66]),
    ],
)
def test_blocks_hold_every_node_once_and_as_many_as_fit(values, single, crossing):
    apart = [part.ravel() for part in np.broadcast_arrays(*LINES)]
    expected = (apart[0][:, None] - WELLS[:, 0]) ** 2 + (apart[1][:, None] - WELLS[:, 1]) ** 2
    for nodes, sizes in ((apart, single), (LINES, crossing)):
        whole, found = blocks_of(*nodes, values)
        assert whole == pytest.approx(expected, rel=1e-13)
        assert found == sizes


@pytest.mark.parametrize(
    "shapes", [((3, 5), (3, 5)), ((1, 5), (3, 5)), ((5,), (5,)), ((3, 1), (1, 5)), ((1, 5), (3, 1))]
)
def test_nodes_of_any_shape_are_counted_row_by_row(shapes):
    x, y = (RANDOM.uniform(0.0, 9.0, shape) for shape in shapes)
    flat_x, flat_y = (part.ravel() for part in np.broadcast_arrays(x, y))
    expected = (flat_x[:, None] - WELLS[:, 0]) ** 2 + (flat_y[:, None] - WELLS[:, 1]) ** 2
    assert blocks_of(x, y, 28)[0] == pytest.approx(expected, rel=1e-13)


def lines(count_x, count_y, width=60.0, height=44.0):
    return np.linspace(-3.0, width - 3.0, count_x)[None, :], np.linspace(2.0, height + 2.0, count_y)[:, None]


def test_the_share_in_reach_is_the_area_within_one_range_of_a_tile():
    """A tile of 20 lines by 20, widened by one range, over the rectangle of the wells; the area by shapely."""
    x, y = lines(50, 60)
    wells = np.array([[0.0, 0.0], [55.0, 10.0], [20.0, 40.0]])
    tile = shapely.box(0.0, 0.0, 20 * 60.0 / 50, 20 * 44.0 / 60)
    widened = shapely.buffer(tile, 1.0, quad_segs=2000).area
    assert reached_share(x, y, wells) == pytest.approx(widened / (55.0 * 40.0), rel=1e-6)
    assert reached_share(x, y, 0.1 * wells) == 1.0
    # wells in a row cover no area: every one may be in reach
    assert reached_share(x, y, wells * [10.0, 0.0]) == 1.0


@pytest.mark.parametrize(("count_x", "count_y", "pays"), [(41, 41, True), (40, 41, False), (41, 40, False)])
def test_tiles_need_more_than_two_of_them_along_each_side(count_x, count_y, pays):
    wells = np.array([[0.0, 0.0], [550.0, 400.0]])
    x, y = lines(count_x, count_y)
    assert (reached_share(x, y, wells) < 1.0) == pays
    assert reached_share(*np.broadcast_arrays(x, y), wells) == 1.0
    assert reached_share(x.ravel(), y.ravel(), wells) == 1.0


def test_tiles_name_every_well_within_one_range_and_hold_every_node_once():
    x, y = lines(50, 43, 12.0, 9.0)
    wells = np.random.default_rng(2).uniform([-6.0, -1.0], [12.0, 14.0], (400, 2))
    seen = np.zeros(50 * 43, dtype=int)
    flat = np.column_stack([part.ravel() for part in np.broadcast_arrays(x, y)])
    sizes = []
    for nodes, near, squared in squared_tiles(x, y, wells):
        seen[nodes] += 1
        sizes.append(nodes.size)
        exact = ((flat[nodes][:, None] - wells[None]) ** 2).sum(axis=2)
        assert squared == pytest.approx(exact[:, near], rel=1e-12)
        box = shapely.box(*flat[nodes].min(axis=0), *flat[nodes].max(axis=0))
        within = shapely.distance(box, shapely.points(wells)) < 1.0
        assert near.tolist() == np.flatnonzero(within).tolist()
    assert (seen == 1).all()
    assert sizes == [400, 400, 200, 400, 400, 200, 60, 60, 30]
