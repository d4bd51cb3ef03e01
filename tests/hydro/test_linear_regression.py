"""Straight lines by least squares: what is refused, and lines without scatter; numbers by hand."""

import math

import pytest

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError
from gwnet.hydro.trends.linear_regression import linear_trend


def test_a_gap_takes_no_part_and_limits_are_student_s():
    """Four points by hand: slope 4 / 5, residual sum of squares 1.8; t of 2 degrees of freedom at 97.5 % is 4.302653."""
    line = linear_trend([1.0, 3.0, math.nan, 2.0, 4.0], [0, 1, 9, 2, 3])
    assert (line.count, line.slope, line.intercept) == (4, pytest.approx(0.8), pytest.approx(1.3))
    assert line.standard_error == pytest.approx(math.sqrt(1.8 / 2 / 5))
    assert line.upper - line.slope == pytest.approx(4.302653 * line.standard_error, rel=1e-6)
    assert line.slope - line.lower == pytest.approx(line.upper - line.slope)


@pytest.mark.parametrize(("values", "p"), [([1, 2, 3], 0.0), ([3, 2, 1], 0.0), ([2, 2, 2], 1.0)])
def test_values_without_scatter_are_surely_on_a_line(values, p):
    line = linear_trend(values, [0, 1, 2])
    assert (line.p_value, line.lower) == (p, pytest.approx(line.upper))


def test_what_has_no_line_is_refused():
    with pytest.raises(TooFewLevelsError, match="there are 2"):
        linear_trend([1.0, 2.0, math.nan], [0, 1, 2])
    with pytest.raises(AnalysisError, match="one time"):
        linear_trend([1.0, 2.0, 3.0], [5, 5, 5])
    with pytest.raises(ShapeError):
        linear_trend([1.0, 2.0], [0, 1, 2])
