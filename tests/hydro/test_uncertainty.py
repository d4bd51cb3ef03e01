import numpy as np
import pytest

from gwnet.constants import NEVER_CHECKED_TAPE_M, SURVEY_ACCURACY_M, TAPE_ACCURACY_M
from gwnet.hydro.reduction.uncertainty import combined_half_width, half_width_of_change, uncertainty_parts


def parts(**changes):
    given = {
        "depth_m": [10.0],
        "by_tape": [True],
        "survey_accuracy_m": [0.004],
        "instrument_accuracy_m": [np.nan],
        "tape_checked": [True],
        "beyond_check_m": [0.0],
        "spread_m": [0.002],
        "repeat_count": [2],
        "repeat_tolerance_m": [0.006],
        "product_thickness_m": [np.nan],
    }
    return uncertainty_parts(**{**given, **changes})


def test_root_sum_of_squares():
    assert combined_half_width(0.003, 0.004) == pytest.approx(0.005)
    assert combined_half_width(0.0, [0.3, 0.4]).tolist() == [0.3, 0.4]


def test_what_moves_both_values_alike_falls_away_from_their_difference():
    """Against 200,000 draws of two values, each with an error of its own and one that both share."""
    random = np.random.default_rng(3)
    shared, own = random.normal(0.0, 0.03, 200_000), random.normal(0.0, 0.04, (2, 200_000))
    now, then = own + shared
    assert half_width_of_change(0.05, 0.05, shared_m=0.03) == pytest.approx((now - then).std(), rel=0.01)
    assert half_width_of_change(0.05, 0.05, shared_m=0.0) == pytest.approx(np.hypot(0.05, 0.05))
    # no number is left where all of both is shared, and never one of less than nothing
    assert half_width_of_change([0.03, 0.03], [0.03, np.nan], shared_m=[0.03 + 1e-12, 0.0])[0] == 0.0


def test_parts_of_an_ordinary_reading():
    made = parts()
    assert made.survey_m[0] == 0.004
    assert made.tape_m[0] == TAPE_ACCURACY_M
    assert made.check_m[0] == pytest.approx(0.003)
    assert made.repeat_m[0] == pytest.approx(0.001)
    assert made.density_m[0] == 0.0
    assert made.combined_m()[0] == pytest.approx(np.sqrt(0.004**2 + 0.003**2 + 0.003**2 + 0.001**2))


def test_unknown_survey_takes_the_stated_default():
    assert parts(survey_accuracy_m=[np.nan]).survey_m[0] == SURVEY_ACCURACY_M


def test_a_stated_accuracy_of_the_reading_stands_for_tape_check_and_repeats():
    made = parts(reading_accuracy_m=[0.02], tape_checked=[False])
    assert (made.tape_m[0], made.check_m[0], made.repeat_m[0]) == (0.02, 0.0, 0.0)
    assert parts(reading_accuracy_m=[np.nan]) == parts()


def test_an_unchecked_tape_is_less_sure_and_more_so_with_depth():
    shallow, deep = parts(tape_checked=[False]), parts(tape_checked=[False], depth_m=[100.0])
    assert shallow.check_m[0] == pytest.approx(0.010)
    assert deep.check_m[0] == pytest.approx(0.100)
    assert deep.tape_m[0] > shallow.tape_m[0]


def test_a_tape_that_was_never_checked_among_checked_ones_may_be_spliced():
    made = parts(tape_checked=[False], never_checked=[True], depth_m=[4.0])
    assert made.check_m[0] == pytest.approx(np.hypot(0.004, 0.1))
    assert made.combined_m()[0] > NEVER_CHECKED_TAPE_M
    assert parts(tape_checked=[True], never_checked=[True]) == parts()


def test_reading_beyond_the_check_is_less_sure():
    assert parts(beyond_check_m=[20.0]).check_m[0] == pytest.approx(np.hypot(0.003, 0.020))


def test_a_single_reading_counts_half_the_tolerance():
    assert parts(repeat_count=[1], spread_m=[0.0]).repeat_m[0] == pytest.approx(0.003)


def test_product_brings_its_density():
    assert parts(product_thickness_m=[0.4]).density_m[0] == pytest.approx(0.02)


def test_an_elevation_that_was_not_taped_has_no_tape_check():
    made = parts(by_tape=[False], tape_checked=[False])
    assert made.check_m[0] == 0.0
    assert made.repeat_m[0] == 0.0
