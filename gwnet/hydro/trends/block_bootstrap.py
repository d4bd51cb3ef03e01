"""Block bootstrap of a trend test: years are drawn again in blocks, so that what goes together stays together."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gwnet.errors import AnalysisError, ShapeError, TooFewLevelsError

__all__ = ["BlockBootstrap", "block_bootstrap", "block_length"]

Floats = NDArray[np.float64]

#: Signs of pairs that are gathered at a time.
HELD = 1_000_000


@dataclass(frozen=True, slots=True)
class BlockBootstrap:
    """Outcome of a block bootstrap.

    Attributes
    ----------
    p_value : float
        Two-sided probability of so large a score.
    block : int
        Years in a block.
    resamples : int
        Times that the record was drawn.
    deviation : float
        Standard deviation of the scores drawn.
    """

    p_value: float
    block: int
    resamples: int
    deviation: float


def block_length(count: int, correlation: float) -> int:
    """Return how many years a block should have.

    Parameters
    ----------
    count : int
        Years of the record.
    correlation : float
        Correlation from one year to the next, from 0 on, below 1.

    Returns
    -------
    int
        Length, from 1 to a third of the record.

    Notes
    -----
    The length that suits a mean of an autoregressive series best to the first order, (√6 ρ/(1 − ρ²))^(2/3) n^(1/3)
    (Carlstein, 1986; from memory), rounded up.

    References
    ----------
    .. [1] Carlstein, E. (1986). The use of subseries values for estimating the variance of a general statistic from a
       stationary sequence. Annals of Statistics 14, 1171–1179.

    Examples
    --------
    >>> block_length(30, 0.4)
    4
    """
    if not 0.0 <= correlation < 1.0:
        message = f"The correlation is {correlation}; expected 0 to below 1."
        raise AnalysisError(message)
    best = float((math.sqrt(6.0) * correlation / (1.0 - correlation**2)) ** (2.0 / 3.0) * count ** (1.0 / 3.0))
    return max(min(math.ceil(best), count // 3), 1)


def block_bootstrap(score: int, signs: Floats, *, block: int, resamples: int = 999) -> BlockBootstrap:
    """Return how often a record without its slope gives so large a score when its years are drawn in blocks.

    Parameters
    ----------
    score : int
        Kendall's S of the record as it is, summed over its blocks (seasons, wells).
    signs : ndarray of float64, shape (n, n)
        Signs of pairs of years of the record less its slope, as of `gwnet.hydro.trends.year_signs.year_signs`.
    block : int
        Years in a block, 1 to n.
    resamples : int
        Times that the record is drawn.

    Returns
    -------
    BlockBootstrap
        Probability (the record itself counts as one draw), and spread of the scores.

    Raises
    ------
    AnalysisError
        If a block has no year or more than the record, or the record is to be drawn less than once.
    ShapeError
        If the signs are not square.
    TooFewLevelsError
        If there are fewer than three years.

    Notes
    -----
    Blocks of whole years overlap and are drawn with replacement (Künsch, 1989); seasons and wells of a year stay
    together, and so do gaps and bounds. A year drawn twice is tied with itself. The draws come from a generator that
    is seeded by the signs alone: the same record has the same p on any day and machine. A short record's
    residuals are less persistent than the record, so that the bootstrap alone tells too many trends there; see
    `gwnet.hydro.trends.serial_correlation`.

    References
    ----------
    .. [1] Künsch, H. R. (1989). The jackknife and the bootstrap for general stationary observations. Annals of
       Statistics 17, 1217–1241.

    Examples
    --------
    >>> from gwnet.hydro.trends.year_signs import year_signs
    >>> block_bootstrap(28, year_signs([0.1, 0.0, 0.2, 0.1, 0.0, 0.2, 0.1, 0.0]), block=2).p_value
    0.001
    """
    if signs.ndim != 2 or signs.shape[0] != signs.shape[1]:
        message = f"Signs must have a row and a column for each year; found shape {signs.shape}."
        raise ShapeError(message)
    n = len(signs)
    if n < 3:
        message = f"A bootstrap needs three years or more; found {n}."
        raise TooFewLevelsError(message)
    if not 1 <= block <= n or resamples < 1:
        message = f"Blocks of {block} years, drawn {resamples} times; expected 1 to {n} years and 1 time or more."
        raise AnalysisError(message)
    whole = np.ascontiguousarray(np.rint(signs).astype(np.int32))
    random = np.random.default_rng([zlib.crc32(whole.astype("<i4").tobytes()), n, block])
    blocks = -(-n // block)
    starts = random.integers(0, n - block + 1, (resamples, blocks))
    years = (starts[:, :, None] + np.arange(block)).reshape(resamples, -1)[:, :n]
    earlier, later = np.triu_indices(n, 1)
    drawn = np.empty(resamples)
    held = max(HELD // earlier.size, 1)
    for begin in range(0, resamples, held):
        some = years[begin : begin + held]
        drawn[begin : begin + held] = whole.ravel().take(some[:, earlier] * n + some[:, later]).sum(axis=1)
    beyond = int(np.count_nonzero(np.abs(drawn) >= abs(score)))
    return BlockBootstrap((beyond + 1) / (resamples + 1), block, resamples, float(drawn.std()))
