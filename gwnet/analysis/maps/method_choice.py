"""Choosing how a surface is made: each method judged by what it says of levels that it was not shown.

Leave-one-out errors are compared over the levels without a finding that every method can estimate, of the largest
compartment; fewer than five choose nothing. Kriging keeps the covariance fitted to all levels, which flatters it a
little. Equal scores and sparse sets go to kriging, which alone knows its error.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.analysis.maps.result import Control, MethodScore
from gwnet.constants import INTERPOLATION_METHODS, NORMAL_95
from gwnet.hydro.surfaces import surface as surfaces
from gwnet.hydro.surfaces.covariance_mixture import CovarianceMixture
from gwnet.hydro.surfaces.variogram import Covariance

#: Over fewer levels than this scores tell nothing, and kriging is taken (project default).
LEAST_SCORED: Final = 5

#: Name that asks for the choice.
AUTO: Final = "auto"


def choose_method(
    levels: Control, counted: NDArray[np.bool_], covariance: Covariance | CovarianceMixture, drift: str
) -> tuple[str, tuple[MethodScore, ...]]:
    """Return the method whose surface estimates left-out levels best, and the scores of all.

    Parameters
    ----------
    levels : gwnet.analysis.maps.result.Control
        Control of the map.
    counted : numpy.ndarray of bool, shape (n,)
        Levels that count: measured ones without finding.
    covariance : Covariance or CovarianceMixture
        Covariances for kriging, fitted to all of them.
    drift : str
        Drift for kriging.

    Returns
    -------
    tuple
        Name of the method, and scores, best first. Of equal ones the first of kriging, spline and triangulation wins.

    Notes
    -----
    Scores are taken over the levels that every method can estimate from the others: a triangulation has nothing to say
    at the corners of the hull. Over fewer than five levels nothing is chosen, and kriging is taken.
    """
    noise = (levels.half_width / NORMAL_95) ** 2
    residuals = {}
    for method in INTERPOLATION_METHODS:
        surface = surfaces.fit(
            method, levels.x, levels.y, levels.z, covariance=covariance, drift=drift, measurement_variance_m2=noise
        )
        residuals[method] = surface.leave_one_out().residual_m
    # Over the same levels for every method, or one would win by what it cannot estimate.
    common = counted & np.all([np.isfinite(residual) for residual in residuals.values()], axis=0)
    n = int(common.sum())
    if n < LEAST_SCORED:
        return INTERPOLATION_METHODS[0], ()
    scores = [
        MethodScore(method, float(np.sqrt(np.mean(residual[common] ** 2))), n) for method, residual in residuals.items()
    ]
    # Sorting keeps the order of the methods where scores are equal: kriging comes first.
    ordered = tuple(sorted(scores, key=lambda score: score.rmse_m))
    return ordered[0].method, ordered
