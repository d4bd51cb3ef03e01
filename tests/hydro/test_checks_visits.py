"""Checks of single visits; constructed."""

import numpy as np
import pytest

from gwnet.hydro.checks import visits


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
