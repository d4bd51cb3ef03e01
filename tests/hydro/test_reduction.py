import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gwnet.errors import ShapeError
from gwnet.hydro.reduction.elevation import (
    combine_repeats,
    depth_below_ground,
    dry_bound_depth,
    product_corrected_elevation,
    sounded_depth,
    water_elevation,
)

depths = st.floats(-20, 300)


def test_elevation_can_be_checked_in_the_head():
    assert water_elevation(3.475, 101.250) == pytest.approx(97.775, abs=1e-12)


def test_elevation_broadcasts_over_visits_of_one_well():
    assert water_elevation([1.0, 2.0], 10.0).tolist() == [9.0, 8.0]


def test_missing_depth_gives_missing_elevation_at_the_same_place():
    assert np.isnan(water_elevation([np.nan, 2.0], 10.0)).tolist() == [True, False]


def test_negative_depth_is_water_above_the_measuring_point():
    assert water_elevation(-1.25, 100.0) == pytest.approx(101.25)


def test_shapes_that_do_not_fit_are_named():
    with pytest.raises(ShapeError, match=r"depth_to_water_m \(2,\), measuring_point_elevation_m \(3,\)"):
        water_elevation([1.0, 2.0], [1.0, 2.0, 3.0])


@given(depth=depths, elevation=st.floats(-100, 4000), shift=st.floats(-50, 50))
def test_raising_measuring_point_and_depth_together_changes_nothing(depth, elevation, shift):
    moved = water_elevation(depth + shift, elevation + shift)
    assert moved == pytest.approx(float(water_elevation(depth, elevation)), abs=1e-9)


def test_agreeing_repeats_are_averaged():
    result = combine_repeats([[3.474, 3.476, np.nan]], 0.006)
    assert result.depth_m[0] == pytest.approx(3.475)
    assert result.spread_m[0] == pytest.approx(0.002)
    assert result.count.tolist() == [2]
    assert not result.disagree[0]


def test_repeats_at_exactly_the_tolerance_agree():
    assert not combine_repeats([[12.346, 12.340]], 0.006).disagree[0]


def test_repeats_beyond_the_tolerance_give_no_depth():
    result = combine_repeats([[3.474, 3.574, np.nan]], 0.006)
    assert np.isnan(result.depth_m[0])
    assert result.disagree[0]


def test_a_chosen_repeat_settles_the_disagreement():
    result = combine_repeats([[3.474, 3.574, np.nan]], 0.006, chosen=[2])
    assert result.depth_m[0] == 3.574
    assert not result.disagree[0]


def test_no_reading_at_all_is_no_depth_and_no_disagreement():
    result = combine_repeats(np.full((1, 3), np.nan), 0.006)
    assert np.isnan(result.depth_m[0])
    assert np.isnan(result.spread_m[0])
    assert not result.disagree[0]


def test_repeats_of_one_dimension_are_refused():
    with pytest.raises(ShapeError, match="two dimensions"):
        combine_repeats([1.0, 2.0], 0.006)


@given(st.lists(st.floats(0, 100), min_size=1, max_size=3), st.randoms())
def test_order_of_repeats_does_not_matter(values, random):
    row = values + [np.nan] * (3 - len(values))
    shuffled = row[:]
    random.shuffle(shuffled)
    one, other = combine_repeats([row], 0.006), combine_repeats([shuffled], 0.006)
    assert np.allclose(one.depth_m, other.depth_m, equal_nan=True)
    assert one.disagree.tolist() == other.disagree.tolist()


def test_dry_bound_is_the_shallower_of_screen_and_sounding():
    assert dry_bound_depth([12.0, 12.0], [12.9, 10.4], [13.0, 13.0]).tolist() == [12.0, 10.4]


def test_dry_bound_falls_back_on_what_is_known():
    assert dry_bound_depth([np.nan, np.nan], [9.0, np.nan], [13.0, 13.0]).tolist() == [9.0, 13.0]
    assert np.isnan(dry_bound_depth(np.nan, np.nan, np.nan))


def test_depth_below_ground_in_a_vault_is_larger():
    assert depth_below_ground(5.0, -0.4) == pytest.approx(5.4)


def test_product_raises_the_head_by_its_weight():
    assert product_corrected_elevation(100.0, 0.5, 0.8) == pytest.approx(100.4)


def test_sounding_adds_the_length_of_the_probe_and_the_correction():
    assert sounded_depth(20.0, 0.11, tape_correction_m=-0.02) == pytest.approx(20.09)
