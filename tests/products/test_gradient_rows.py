"""Gradients as rows: what is not significant is stated by its upper limit alone, with and without findings."""

import numpy as np

from gwnet.hydro.gradients.horizontal import plane_gradient
from gwnet.products.maps import gradient_row, row_without_findings

X = np.array([0.0, 100.0, 0.0, 100.0, 50.0])
Y = np.array([0.0, 0.0, 100.0, 100.0, 50.0])
DEPARTURES_M = np.array([0.05, -0.04, 0.03, 0.02, -0.06])


def test_the_gradient_without_findings_is_that_of_the_row():
    steep = plane_gradient(X, Y, 50 - 0.01 * X + DEPARTURES_M / 10, 0.005)
    row = gradient_row(steep)
    assert row_without_findings(steep) == {
        "gradient_without_findings": row["gradient"],
        "azimuth_degrees_without_findings": row["azimuth_degrees"],
    }
    assert row["determined"]


def test_a_gradient_that_is_not_significant_is_not_printed():
    flat = plane_gradient(X, Y, 50 + DEPARTURES_M, 0.005)
    assert not flat.determined
    assert set(row_without_findings(flat).values()) == {None}
    assert set(row_without_findings(None).values()) == {None}
