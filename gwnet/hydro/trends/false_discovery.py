"""False discoveries among many tests: adjusted probabilities."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gwnet.errors import AnalysisError

__all__ = ["adjusted_p_values"]


def adjusted_p_values(p_values: ArrayLike, *, dependence: str = "positive") -> NDArray[np.float64]:
    """Adjust the probabilities of many tests for their number.

    Parameters
    ----------
    p_values : array_like
        Probabilities of the tests, in any shape; NaN where no test could be made (left out of the number of tests).
    dependence : {"positive", "any"}
        How the tests may hang together: independent or positively dependent, as wells of one aquifer are (Benjamini
        and Hochberg), or in any way (Benjamini and Yekutieli; larger values).

    Returns
    -------
    ndarray of float64
        Adjusted probabilities in the same places. Taking all tests at or below q as found keeps the expected share of
        false ones among them at or below q.

    Raises
    ------
    AnalysisError
        If a probability is not between 0 and 1, or the dependence is unknown.

    Notes
    -----
    The adjusted value of the i-th smallest of m is the smallest of p_(j) m/j over j ≥ i, at most 1; with any
    dependence times 1 + 1/2 + … + 1/m.

    References
    ----------
    .. [1] Benjamini, Y. and Hochberg, Y. (1995). Controlling the false discovery rate. J. Royal Statistical Society B
       57, 289–300.
    .. [2] Benjamini, Y. and Yekutieli, D. (2001). The control of the false discovery rate in multiple testing under
       dependency. Annals of Statistics 29, 1165–1188.

    Examples
    --------
    >>> adjusted_p_values([0.01, 0.04, 0.03]).tolist()
    [0.03, 0.04, 0.04]
    """
    if dependence not in ("positive", "any"):
        message = f"Unknown dependence {dependence!r}; expected positive or any."
        raise AnalysisError(message)
    given = np.asarray(p_values, dtype=np.float64)
    here = ~np.isnan(given)
    tests = given[here]
    wrong = tests[(tests < 0.0) | (tests > 1.0)]
    if wrong.size:
        message = f"A probability is {wrong[0]}; expected 0 to 1."
        raise AnalysisError(message)
    adjusted = given.copy()
    m = tests.size
    if not m:
        return adjusted
    order = np.argsort(tests, kind="stable")
    place = np.arange(1, m + 1)
    factor = float((1.0 / place).sum()) if dependence == "any" else 1.0
    raised = tests[order] * (factor * m / place)
    smallest = np.minimum(np.minimum.accumulate(raised[::-1])[::-1], 1.0)
    back = np.empty(m)
    back[order] = smallest
    adjusted[here] = back
    return adjusted
