"""Labels that never collide; positions checked as boxes."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.figures.base.page import Box
from gwnet.figures.base.placement import Anchor, place_labels, spread

from .frames import scattered
from .measure import overlapping


def symbols(anchors):
    return [Box(a.x - a.reach, a.y - a.radius, 2 * a.reach, 2 * a.radius) for a in anchors]


def crowd(count, seed, extent, middle=(80.0, 80.0)):
    x, y = scattered(count, seed, extent)
    return [
        Anchor(
            float(a) - 412_000 + middle[0] - extent / 2, float(b) - 5_333_000 + middle[1] - extent / 2, 11.0, 6.0, 1.15
        )
        for a, b in zip(x, y, strict=True)
    ]


@pytest.mark.parametrize(("count", "seed", "extent"), [(34, 1, 60.0), (34, 2, 35.0), (34, 3, 20.0), (60, 4, 100.0)])
def test_labels_meet_neither_each_other_nor_a_point_nor_the_edge(count, seed, extent):
    anchors = crowd(count, seed, extent)
    room = Box(0.0, 0.0, 160.0, 160.0)
    placed = place_labels(anchors, room)
    assert all(label is not None for label in placed)
    boxes = [label.box for label in placed]
    assert overlapping(boxes) == []
    meeting = [pair for pair in overlapping([*boxes, *symbols(anchors)]) if pair[0] < count <= pair[1]]
    assert meeting == []
    assert all(box.left >= 0 and box.bottom >= 0 and box.right <= 160 and box.top <= 160 for box in boxes)


def test_a_label_that_stands_away_has_a_line_to_its_point():
    anchors = crowd(34, 3, 20.0)
    placed = place_labels(anchors, Box(0.0, 0.0, 160.0, 160.0))
    far = [(a, p) for a, p in zip(anchors, placed, strict=True) if p.leader]
    assert far
    for anchor, label in far:
        (x0, y0), (x1, y1) = label.leader
        assert np.hypot(x0 - anchor.x, y0 - anchor.y) <= anchor.radius * 1.5
        assert label.box.left - 1e-9 <= x1 <= label.box.right + 1e-9
        assert label.box.bottom - 1e-9 <= y1 <= label.box.top + 1e-9


def test_no_line_runs_through_another_label():
    anchors = crowd(34, 2, 35.0)
    placed = place_labels(anchors, Box(0.0, 0.0, 160.0, 160.0))
    for i, label in enumerate(placed):
        if not label.leader:
            continue
        (x0, y0), (x1, y1) = label.leader
        part = np.linspace(0, 1, 200)
        xs, ys = x0 + (x1 - x0) * part, y0 + (y1 - y0) * part
        for j, other in enumerate(placed):
            if i != j:
                box = other.box
                inside = (xs > box.left + 0.2) & (xs < box.right - 0.2) & (ys > box.bottom + 0.2) & (ys < box.top - 0.2)
                assert not inside.any()


def test_taken_room_stays_free_and_the_same_input_gives_the_same_places():
    anchors = crowd(20, 5, 50.0)
    taken = [Box(60.0, 60.0, 15.0, 40.0)]
    room = Box(0.0, 0.0, 160.0, 160.0)
    first, second = (place_labels(anchors, room, taken=taken) for _ in range(2))
    assert first == second
    assert not [pair for pair in overlapping([*taken, *(p.box for p in first if p)]) if pair[0] == 0]


def test_without_room_a_label_is_left_out_rather_than_put_on_another():
    anchors = [Anchor(10.0, 10.0, 18.0, 6.0) for _ in range(12)]
    placed = place_labels(anchors, Box(0.0, 0.0, 22.0, 22.0))
    assert any(label is None for label in placed)
    assert overlapping([label.box for label in placed if label]) == []


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(1, 6)), min_size=1, max_size=12))
def test_spread_labels_do_not_overlap_keep_their_order_and_stay_where_they_can(labels):
    wanted, heights = [w for w, _ in labels], [h for _, h in labels]
    centres = spread(wanted, heights, 0.0, 100.0)
    order = sorted(range(len(labels)), key=lambda i: (wanted[i], i))
    for a, b in pairwise(order):
        assert centres[b] - centres[a] >= (heights[a] + heights[b]) / 2 - 1e-6
    assert all(h / 2 - 1e-6 <= c <= 100 - h / 2 + 1e-6 for c, h in zip(centres, heights, strict=True))


def test_lonely_labels_are_not_moved():
    assert spread([10.0, 50.0], [3.0, 3.0], 0.0, 100.0) == [10.0, 50.0]


def test_labels_of_a_lower_rank_choose_first():
    anchors = [Anchor(10.0, 10.0, 18.0, 6.0, rank=i % 2) for i in range(12)]
    placed = place_labels(anchors, Box(0.0, 0.0, 22.0, 22.0))
    assert any(placed[i] for i in range(0, 12, 2))
    assert not any(placed[i] for i in range(1, 12, 2))
