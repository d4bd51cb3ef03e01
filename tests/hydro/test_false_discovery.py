"""Adjusted probabilities: against SciPy and the definition."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from gwnet.errors import AnalysisError
from gwnet.hydro.trends.false_discovery import adjusted_p_values

SHARES = arrays(float, st.integers(1, 60), elements=st.floats(0, 1) | st.sampled_from([0.01, 0.05]))


@settings(deadline=None)
@given(SHARES)
def test_equal_to_scipy(p_values):
    assert adjusted_p_values(p_values).tolist() == stats.false_discovery_control(p_values).tolist()


@settings(deadline=None)
@given(SHARES, st.floats(0.001, 0.5))
def test_the_step_up_rule_takes_the_same_tests(p_values, q):
    """Largest k with p_(k) ≤ k q/m: the k smallest are taken (Benjamini and Hochberg, 1995)."""
    m = p_values.size
    ordered = np.sort(p_values)
    met = np.flatnonzero(ordered <= np.arange(1, m + 1) * q / m)
    near = np.abs(ordered * m / np.arange(1, m + 1) - q) < 1e-12
    if not near.any():
        assert (adjusted_p_values(p_values) <= q).sum() == (met[-1] + 1 if met.size else 0)


def test_tests_that_were_not_made_do_not_count():
    found = adjusted_p_values([[0.01, math.nan], [0.04, 0.03]])
    assert np.isnan(found[0, 1])
    assert found[[0, 1, 1], [0, 0, 1]] == pytest.approx([0.03, 0.04, 0.04])
    assert adjusted_p_values([]).size == 0
    assert np.isnan(adjusted_p_values([math.nan])).all()


def test_refusals_say_what_was_found():
    with pytest.raises(AnalysisError, match=r"1\.5"):
        adjusted_p_values([0.5, 1.5])
