"""Checks of single visits; constructed."""

import numpy as np
import pytest

from gwnet.hydro.checks import visits

from .checks_by_definition import beside


def test_hours_since_pumping_count_within_the_well():
    found = visits.hours_since([1, 1, 1, 2], [0.0, 0.5, 3.0, 3.1], [True, False, False, False])
    assert found[1:3].tolist() == [12.0, 72.0]
    assert np.isnan(found[[0, 3]]).all()


def test_each_further_step_of_silting_is_stated_once():
    loss = [np.nan, 0.2, 0.6, 0.4, 0.9, 1.1, 1.0, 1.6]
    assert np.flatnonzero(visits.further_loss([1] * 8, loss, 0.5)).tolist() == [2, 5, 7]


def test_silting_of_one_well_is_not_that_of_the_next():
    found = visits.further_loss([1, 1, 2, 2], [2.0, 2.1, 0.7, 0.1], 0.5)
    assert found.tolist() == [True, False, True, False]


def test_a_bottom_below_the_one_built_is_no_loss():
    assert not visits.further_loss([1, 1], [-3.0, -0.1], 0.5).any()


def test_the_last_sounding_holds_until_the_next():
    found = visits.last_known([1, 1, 1, 2], [np.nan, 7.0, np.nan, np.nan])
    assert found[1:3].tolist() == [7.0, 7.0]
    assert np.isnan(found[[0, 3]]).all()


def test_a_reversed_order_needs_a_usual_one():
    difference = np.array([0.2] * 12 + [-0.2])
    found = visits.order_in_cluster(np.zeros(13, int), difference, np.full(13, 0.05))
    assert np.flatnonzero(found.reversed).tolist() == [12]
    assert found.share[0] == pytest.approx(12 / 13)
    mixed = visits.order_in_cluster(np.zeros(12, int), np.tile([0.2, -0.2], 6), np.full(12, 0.05))
    assert not mixed.reversed.any()
    few = visits.order_in_cluster(np.zeros(4, int), np.array([0.2, 0.2, 0.2, -0.2]), np.full(4, 0.05), share=0.7)
    assert not few.reversed.any()


def test_differences_within_their_uncertainty_have_no_order():
    difference = np.array([0.2] * 12 + [-0.02])
    assert not visits.order_in_cluster(np.zeros(13, int), difference, np.full(13, 0.05)).reversed.any()


def repeated(rounds, wells, share, seed):
    random = np.random.default_rng(seed)
    group, well = np.repeat(np.arange(rounds), wells), np.tile(np.arange(wells), rounds)
    return group, well, random.random(group.size) < share


def test_repetition_by_chance_is_no_wonder():
    """Wells that stand still repeat themselves: a tenth of all readings, and still few rounds are told."""
    told = 0
    for seed in range(20):
        group, well, same = repeated(40, 25, 0.1, seed)
        found = visits.repeated_readings(group, 40, well, same)
        told += int((found.same > found.limit).sum())
    assert told <= 8


def test_a_copied_round_is_stated():
    group, well, same = repeated(40, 25, 0.002, 4)
    same[group == 17] = np.arange(25) < 4
    found = visits.repeated_readings(group, 40, well, same)
    assert np.flatnonzero(found.same > found.limit).tolist() == [17]
    assert found.same[17] == 4


def test_pairs_are_the_nearest_within_days():
    first, second = visits.pairs_within([0.0, 10.0, 20.0], [0.4, 9.0, 11.5, 30.0], 2.0)
    assert first.tolist() == [0, 1]
    assert second.tolist() == [0, 1]
    assert visits.pairs_within([], [1.0], 1.0)[0].size == 0


def test_of_two_times_as_near_the_earlier_makes_the_pair():
    first, second = visits.pairs_within([10.0], [9.0, 11.0], 1.0)
    assert (first.tolist(), second.tolist()) == ([0], [0])


def test_what_has_no_order_does_not_count_for_one():
    """Eight of eight pairs with an order go up; those within their uncertainty make neither 9 nor a smaller share."""
    difference = np.array([0.2] * 8 + [-0.02] * 4)
    order = visits.order_in_cluster(np.zeros(12, int), difference, np.full(12, 0.05))
    assert order.count.tolist() == [8] * 12
    assert order.share.tolist() == [1.0] * 12
    assert order.usual.tolist() == [1] * 12


def test_further_loss_and_last_values_are_those_of_plain_loops():
    random = np.random.default_rng(6)
    well = np.repeat([2, 5, 6, 9], [12, 1, 9, 8])
    loss = random.choice([np.nan, -0.4, 0.0, 0.24, 0.25, 0.49, 0.5, 0.6, 0.75, 1.3], 30)
    steps = [0 if np.isnan(some) else max(some // 0.25, 0) for some in loss]
    expected = []
    known = []
    for i in range(30):
        earlier = [steps[j] for j in range(i) if well[j] == well[i]]
        expected.append(steps[i] > max(earlier, default=0))
        before = beside(well, i, ~np.isnan(loss))[0]
        known.append(loss[i] if not np.isnan(loss[i]) else np.nan if before is None else loss[before])
    assert visits.further_loss(well, loss, 0.25).tolist() == expected
    assert visits.last_known(well, loss) == pytest.approx(known, nan_ok=True)
    assert 3 < sum(expected) < 15
    assert visits.further_loss([], [], 0.5).tolist() == []
    assert visits.last_known([1, 1], [5.0, np.nan]).tolist() == [5.0, 5.0]
    assert visits.hours_since([1, 1], [2.0, 3.5], [True, False])[1] == 36.0


def order_by_loops(pair, difference, width, share, least):
    """Return reversed, share, count and usual order of each pair of levels."""
    rows = []
    for i in range(len(pair)):
        own = [d for p, d, w in zip(pair, difference, width, strict=True) if p == pair[i] and abs(d) > w]
        up = sum(d > 0 for d in own)
        way = 0 if len(own) < least else 1 if up >= share * len(own) else -1 if len(own) - up >= share * len(own) else 0
        kept = max(up, len(own) - up) / len(own) if own else 0.5
        rows.append((abs(difference[i]) > width[i] and way * difference[i] < 0, kept, len(own), way))
    return [list(column) for column in zip(*rows, strict=True)]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_orders_are_those_of_plain_loops(seed):
    random = np.random.default_rng(seed)
    pair = random.choice([3, 4, 8, 11, 12], 70)
    towards = {3: 1, 4: -1, 8: 1, 11: 0, 12: -1}
    difference = random.choice([-0.2, -0.1, 0.1, 0.3], 70, p=[0.1, 0.1, 0.1, 0.7])
    difference *= np.array([towards[one] or random.choice([-1, 1]) for one in pair])
    width = random.choice([0.05, 0.1, 0.25], 70, p=[0.5, 0.4, 0.1])
    for share, least in ((0.75, 8), (0.9, 5)):
        found = visits.order_in_cluster(pair, difference, width, share=share, least=least)
        expected = order_by_loops(pair, difference, width, share, least)
        assert found.reversed.tolist() == expected[0]
        assert found.share == pytest.approx(expected[1], rel=1e-12)
        assert (found.count.tolist(), found.usual.tolist()) == (expected[2], expected[3])


@pytest.mark.parametrize("way", [1, -1])
def test_nine_of_ten_in_one_order_make_it_usual_upward_and_downward(way):
    """The share of 0.9 and the least of 8 pairs (project defaults)."""
    difference = way * np.array([0.2] * 9 + [-0.2])
    found = visits.order_in_cluster(np.zeros(10, int), difference, np.full(10, 0.1))
    assert found.usual.tolist() == [way] * 10
    assert np.flatnonzero(found.reversed).tolist() == [9]
    assert visits.order_in_cluster(np.zeros(7, int), difference[:7], np.full(7, 0.1)).usual.tolist() == [0] * 7
    of_eleven = np.append(difference, -way * 0.2)
    assert not visits.order_in_cluster(np.zeros(11, int), of_eleven, np.full(11, 0.1)).usual.any()
    assert visits.order_in_cluster([0], [0.1], [0.1]).share.tolist() == [0.5]


def test_repetitions_and_their_limit_are_those_of_plain_loops():
    """p of a well: k of n others, with ten readings of the share of all; limit Σ p + 4 √(Σ p (1 − p)) (project defaults)."""
    random = np.random.default_rng(7)
    group, well = np.repeat([0, 1, 2, 4], 9), np.tile([1, 2, 3, 5, 6, 7, 8, 9, 11], 4)
    same = random.random(36) < np.where(well < 4, 0.7, 0.1)
    group, well, same = (np.delete(some, [4, 20, 21]) for some in (group, well, same))
    of_all = (same.sum() + 0.5) / (33 + 1.0)
    share = np.array(
        [
            (same[well == w].sum() - s + 10.0 * of_all) / ((well == w).sum() - 1 + 10.0)
            for w, s in zip(well, same, strict=True)
        ]
    )
    for least in (2, 3, 9):
        found = visits.repeated_readings(group, 5, well, same, least=least)
        for g in range(5):
            own = share[group == g]
            assert found.limit[g] == pytest.approx(max(own.sum() + 4.0 * np.sqrt((own * (1 - own)).sum()), least - 1))
            assert (found.same[g], found.read[g]) == (same[group == g].sum(), (group == g).sum())
    rounds = np.repeat(np.arange(50), 2)
    assert visits.repeated_readings(rounds, 50, np.tile([1, 2], 50), np.zeros(100, bool)).limit.tolist() == [2.0] * 50


def test_pairs_are_those_of_plain_loops():
    random = np.random.default_rng(8)
    times, others = np.sort(random.integers(0, 60, 15)) * 0.5, np.sort(random.integers(0, 50, 9)) * 0.5 + 0.25
    for within in (0.25, 0.75, 9.0):
        pairs = []
        for i, time in enumerate(times):
            away = [abs(other - time) for other in others]
            if min(away) <= within:
                pairs.append((i, away.index(min(away))))
        found = visits.pairs_within(times, others, within)
        # of others at one time any stands for the rest
        assert found[0].tolist() == [i for i, _ in pairs]
        assert others[found[1]].tolist() == [others[j] for _, j in pairs]
    assert visits.pairs_within([1.0], [], 1.0)[1].size == 0
