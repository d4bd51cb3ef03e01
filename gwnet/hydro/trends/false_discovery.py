"""False discoveries among many tests: adjusted probabilities."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError


def adjusted_p_values(p_values: ArrayLike) -> NDArray[np.float64]:
    """Adjust the probabilities of many tests for their number.

    Parameters
    ----------
    p_values : array_like
        Probabilities of the tests, in any shape; NaN where no test could be made (left out of the number of tests).

    Returns
    -------
    ndarray of float64
        Adjusted probabilities in the same places. Calling all tests at or below q significant keeps the expected share
        of false ones among them at or below q.

    Raises
    ------
    AnalysisError
        If a probability is not between 0 and 1.

    Notes
    -----
    The adjusted value of the i-th smallest of m is the smallest of p_(j) m/j over j ≥ i, at most 1 (Benjamini and
    Hochberg). It holds for independent tests and for positively dependent ones, as those of wells of one aquifer are.
    `scipy.stats.false_discovery_control` returns the same bits, but takes half a second to import.

    References
    ----------
    .. [1] Benjamini, Y. and Hochberg, Y. (1995). Controlling the false discovery rate. J. Royal Statistical Society B
       57, 289–300.

    Examples
    --------
    >>> adjusted_p_values([0.01, 0.04, 0.03]).tolist()
    [0.03, 0.04, 0.04]
    """
    given = np.asarray(p_values, dtype=np.float64)
    here = ~np.isnan(given)
    tests = given[here]
    wrong = tests[(tests < 0.0) | (tests > 1.0)]
    if wrong.size:
        message = f"A probability is {wrong[0]}; expected 0 to 1."
        raise AnalysisError(message)
    adjusted = given.copy()
    order = np.argsort(tests, kind="stable")
    raised = tests[order] * (tests.size / np.arange(1, tests.size + 1))
    places = np.flatnonzero(here)[order]
    adjusted.flat[places] = np.minimum(np.minimum.accumulate(raised[::-1])[::-1], 1.0)
    return adjusted
