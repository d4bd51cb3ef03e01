"""What else a number may have been."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gwnet.hydro.checks.alternatives import ROUND_AMOUNTS, best_alternative, exchanged_digits, other_unit


@given(st.integers(1, 9_999_999), st.integers(0, 4))
@settings(max_examples=200, deadline=None)
def test_exchanged_digits_equal_exchanging_them_in_the_text(whole, decimals):
    value = whole / 10**decimals
    text = str(whole)
    found = exchanged_digits([value], [decimals])[0]
    for place in range(7):
        last = len(text) - 1 - place
        if last < 1 or text[last] == text[last - 1]:
            assert np.isnan(found[place])
            continue
        signs = list(text)
        signs[last], signs[last - 1] = signs[last - 1], signs[last]
        assert value + found[place] == pytest.approx(int("".join(signs)) / 10**decimals, rel=1e-12)


def test_a_negative_number_keeps_its_sign():
    assert -1.2 + exchanged_digits([-1.2], [1])[0, 0] == pytest.approx(-2.1)


def test_nothing_is_exchanged_in_no_number():
    assert np.isnan(exchanged_digits([np.nan, 5.0], [2, 0])).all()


def test_other_units_are_exact_feet():
    """One international foot is 0.3048 m exactly (85 FR 62698, 2020)."""
    found = other_unit([100.0, 100.0, 100.0], [1.0, 0.3048, 0.01])
    assert 100.0 + found[0, 0] == pytest.approx(30.48)
    assert 100.0 + found[1, 1] == pytest.approx(328.0839895)
    assert np.isnan(found[[0, 1], [1, 0]]).all()


def test_the_alternative_that_leaves_least_is_taken_when_it_fits():
    shifts = np.array([[1.0, -0.95, np.nan], [1.0, -0.5, 0.2]])
    found = best_alternative([1.0, 3.0], shifts, [0.1, 0.1])
    assert found.which.tolist() == [1, -1]
    assert found.misfit_m[0] == pytest.approx(0.05)
    assert np.isnan(found.misfit_m[1])


def test_the_likelier_alternative_is_taken_where_both_fit_about_as_well():
    shifts = np.array([[-1.02, -0.99]])
    assert best_alternative([1.0], shifts, [0.1], [0.0, 0.5]).which.tolist() == [0]
    assert best_alternative([1.0], shifts, [0.1]).which.tolist() == [1]


def test_an_alternative_that_leaves_much_of_what_it_moves_is_none():
    assert best_alternative([1.0], np.array([[-0.8]]), [0.5], left_share=0.1).which.tolist() == [-1]


def test_no_alternatives_fit_nothing():
    assert best_alternative([1.0], np.empty((1, 0)), [0.1]).which.tolist() == [-1]


def test_round_amounts_are_one_more_in_one_digit():
    """Of 47.3: 57.3, 48.3 and 47.4."""
    one_more = ["57.3", "48.3", "47.4"]
    assert sorted(ROUND_AMOUNTS) == pytest.approx(sorted(float(text) - 47.3 for text in one_more))


def test_a_foot_is_a_foot_to_a_hundredth_of_a_millimetre():
    """The US survey foot is 1200/3937 m (24 FR 5348, 1959; from memory); a unit of 0.30479 m is no foot."""
    metres = [1200 / 3937, 0.3048 + 0.9e-5, 0.3048 - 1.1e-5, 0.0254]
    found = other_unit([20.0, -20.0, 20.0, 5.0], metres)
    assert found[:2, 1] == pytest.approx([20.0 / 0.3048 - 20.0, 20.0 - 20.0 / 0.3048], rel=1e-12)
    assert found[2:, 0] == pytest.approx([20.0 * 0.3048 - 20.0, 5.0 * 0.3048 - 5.0], rel=1e-12)
    assert np.isnan(found[[0, 1, 2, 3], [0, 0, 1, 1]]).all()


def test_seven_digits_are_exchanged_and_a_leading_nought_is_none():
    assert exchanged_digits([0.5, 12345678.0], [2, 0]).shape == (2, 7)
    assert exchanged_digits([0.5], [2])[0, 0] == pytest.approx(-0.45)
    assert np.isnan(exchanged_digits([0.5], [2])[0, 1:]).all()
    assert exchanged_digits([12345678.0], [0])[0, 6] == 9e6
    assert exchanged_digits([10.0], [0])[0].tolist()[0] == -9.0


@pytest.mark.parametrize("left_share", [np.inf, 0.2])
def test_the_best_alternative_is_that_of_plain_loops(left_share):
    random = np.random.default_rng(2)
    residual, within = random.choice([1.0, -0.5, 0.25, 2.0], 60), random.choice([0.125, 0.25, 0.5], 60)
    shift = -residual[:, None] + random.choice([0.125, -0.125, 0.25, 0.1, -0.4, 0.5], (60, 4))
    shift[random.random((60, 4)) < 0.1] = np.nan
    shift[shift == 0.0] = np.nan
    rank = [0.0, 0.25, 1.5, 0.5]
    found = best_alternative(residual, shift, within, rank, left_share)
    for i in range(60):
        left = [abs(residual[i] + some) for some in shift[i]]
        fits = [
            k
            for k in range(4)
            if left[k] <= within[i] and (left_share == np.inf or left[k] <= left_share * abs(shift[i, k]))
        ]
        best = min(fits, key=lambda k, i=i, left=left: left[k] + rank[k] * within[i], default=-1)
        assert found.which[i] == best
        assert found.misfit_m[i] == pytest.approx(left[best] if fits else np.nan, nan_ok=True)
    assert {-1, 0, 1, 2, 3} == set(found.which.tolist())


def test_an_alternative_at_its_limits_fits():
    assert best_alternative([1.0], np.array([[-1.25]]), [0.25], left_share=0.2).which.tolist() == [0]
    assert best_alternative([1.0], np.array([[-1.25]]), [0.2499], left_share=0.2).which.tolist() == [-1]
    assert best_alternative([1.0], np.array([[-1.25]]), [0.25], left_share=0.1999).which.tolist() == [-1]
