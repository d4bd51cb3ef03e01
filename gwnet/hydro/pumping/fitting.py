"""Weighted least squares on logarithms of parameters, with limits from the profile of the likelihood.

A parameter's 95 % limits are where the least sum of squares, over all other parameters, has risen by t² times the
residual variance, t Student's quantile with the degrees of freedom of the fit (Bates and Watts 1988, Nonlinear
Regression Analysis, chapter 6; from memory). Where neighbouring residuals are alike the variance of every estimate is
greater by (1 + r)/(1 − r), r their correlation (Bayley and Hammersley 1946, J. Royal Statistical Society Suppl. 8,
184–197; from memory); limits are widened by that.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gwnet.constants import NORMAL_95

Floats = NDArray[np.float64]

#: Step of differences in the logarithm of a parameter.
_STEP: Final = 1e-5
#: A limit is found when the sum of squares is within this share of the rise that is looked for.
_CLOSE: Final = 2e-2
#: Steps of the search for a limit before the profile is traced instead.
_NEWTON_STEPS: Final = 7
#: A profile that changes by less than this share of the rise over a step of this length has become level.
_FLAT, _FAR = 1e-3, 1.5
#: Tolerances of a fit, and of those that a profile is traced with.
_FINE, _COARSE = 1e-9, 1e-6
#: Standard errors beyond which the correlation of neighbours is taken into account: one-sided 1 %.
_SIGNIFICANT: Final = 2.3263478740408408
#: Most steps of a fit.
_MOST_STEPS: Final = 60
#: Highest serial correlation that limits are widened for: beyond it a misfit is no longer noise.
_HIGHEST_CORRELATION: Final = 0.95


@dataclass(frozen=True, eq=False)
class Problem:
    """What is to be fitted.

    Attributes
    ----------
    observed, weight : numpy.ndarray, shape (n,)
        Measured values and the weights of their residuals.
    predict : callable
        Takes logarithms of the k parameters and returns n values.
    low, high : numpy.ndarray, shape (k,)
        Ends of the search, logarithms.
    slopes : callable or None
        Returns values and their derivatives by the logarithms, shapes (n,) and (n, k); by differences unless given.
    order : numpy.ndarray of int, shape (n,)
        Order of the readings in time, well after well.
    breaks : numpy.ndarray of int
        Places in that order at which another well begins.
    known_sd : float or None
        Standard deviation of the weighted readings from their half-widths; used only where no reading is left over to
        estimate it from.
    is_free : bool
        Whether the ends of the search are far from any answer, so that a search that knows none may try first.
    """

    observed: Floats
    weight: Floats
    predict: Callable[[Floats], Floats]
    low: Floats
    high: Floats
    slopes: Callable[[Floats], tuple[Floats, Floats]] | None = None
    order: NDArray[np.int64] | None = None
    breaks: NDArray[np.int64] | None = None
    known_sd: float | None = None
    is_free: bool = False

    def misfit(self, theta: Floats) -> Floats:
        """Return the weighted residuals, model minus measured.

        Parameters as `gwnet.hydro.pumping`.
        """
        return np.asarray((self.predict(theta) - self.observed) * self.weight, dtype=np.float64)

    def misfit_and_slopes(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return the weighted residuals and their derivatives.

        Parameters as `gwnet.hydro.pumping`.
        """
        if self.slopes is not None:
            values, derivative = self.slopes(theta)
            return (values - self.observed) * self.weight, derivative * self.weight[:, None]
        misfit = self.misfit(theta)
        columns = np.empty((misfit.size, theta.size))
        for place in range(theta.size):
            # Backward at the upper end: beyond it the model may not be defined.
            step = -_STEP if theta[place] + _STEP > self.high[place] else _STEP
            moved = theta.copy()
            moved[place] += step
            columns[:, place] = (self.misfit(moved) - misfit) / step
        return misfit, columns


@dataclass(frozen=True, eq=False)
class Solution:
    """A fit: logarithms of the parameters, their limits, covariance and correlation, and how well it fits.

    Attributes
    ----------
    theta, lower, upper : numpy.ndarray, shape (k,)
        Logarithms of estimates and of their limits, infinite where there is none.
    covariance, correlation : numpy.ndarray, shape (k, k)
        Of the logarithms.
    sum_squares : float
        Weighted sum of squares.
    degrees : int
        Readings less parameters.
    aicc : float
        Akaike's criterion with the correction for few readings.
    serial : float
        Correlation of neighbouring residuals where it is significant, else 0.
    """

    theta: Floats
    lower: Floats
    upper: Floats
    covariance: Floats
    correlation: Floats
    sum_squares: float
    degrees: int
    aicc: float
    serial: float


def solve(problem: Problem, starts: list[Floats]) -> Solution:
    """Return the best fit from one or more starts, with its limits.

    Parameters
    ----------
    problem : Problem
        What to fit.
    starts : list of numpy.ndarray, shape (k,)
        Logarithms to start from; the best of the ends is taken.

    Returns
    -------
    Solution
        Estimates, limits and criteria.
    """
    best = starts[0]
    if len(starts) > 1:  # rough ends first: most starts end at one place
        best = min((_descend(problem, start, _COARSE) for start in starts), key=lambda end: end[1])[0]
    theta = _descend(problem, best)[0]
    misfit, slopes = problem.misfit_and_slopes(theta)
    sum_squares = float(misfit @ misfit)
    n, k = slopes.shape
    degrees = n - k
    serial = _serial_correlation(problem, misfit)
    inflation = (1.0 + serial) / (1.0 - serial)
    normal = slopes.T @ slopes
    if degrees > 0:
        variance = sum_squares / degrees * inflation
        rise = variance * student_95(degrees) ** 2
    else:
        variance = math.inf if problem.known_sd is None else problem.known_sd**2
        rise = variance * NORMAL_95**2
    inverse = _inverse(normal)
    covariance = inverse * variance if math.isfinite(variance) else np.full((k, k), math.inf)
    spread = np.sqrt(np.diag(inverse))
    correlation = inverse / np.outer(spread, spread)
    if math.isfinite(variance):
        lower, upper = _limits(problem, theta, sum_squares, covariance, rise)
    else:
        lower, upper = np.full(k, -math.inf), np.full(k, math.inf)
    return Solution(theta, lower, upper, covariance, correlation, sum_squares, degrees, aicc(sum_squares, n, k), serial)


def aicc(sum_squares: float, n: int, k: int) -> float:
    """Return Akaike's criterion with the correction for few readings.

    Parameters
    ----------
    sum_squares : float
        Weighted sum of squares of the residuals.
    n, k : int
        Readings, and fitted parameters; the variance of the residuals counts as one more.

    Returns
    -------
    float
        The criterion n ln(SS/n) + 2K + 2K(K+1)/(n−K−1) with K = k + 1; NaN where n is at most K + 1.

    Notes
    -----
    Hurvich and Tsai (1989), Biometrika 76, 297–307 (from memory).
    """
    # The variance of the residuals is a parameter, too.
    parameters = k + 1
    if n <= parameters + 1:
        return math.nan
    # A perfect fit, as of made-up readings, has the logarithm of 0.
    fit = n * math.log(max(sum_squares, 1e-300) / n)
    return fit + 2.0 * parameters + 2.0 * parameters * (parameters + 1) / (n - parameters - 1)


def student_95(degrees: float) -> float:
    """Return the two-sided 95 % quantile of Student's t.

    Parameters as `gwnet.hydro.pumping`.
    """
    from scipy import special

    return float(special.stdtrit(degrees, 0.975))


def _descend(problem: Problem, start: Floats, tolerance: float = _FINE) -> tuple[Floats, float]:
    from scipy.optimize import least_squares

    # The library refuses a start that lies on an end.
    inside = np.clip(start, problem.low + 1e-9, problem.high - 1e-9)
    # Misfit and slopes are asked for at one place after the other; nothing older is asked for again.
    kept: dict[bytes, tuple[Floats, Floats]] = {}

    def both(theta: Floats) -> tuple[Floats, Floats]:
        key = theta.tobytes()
        if key not in kept:
            kept.clear()
            kept[key] = problem.misfit_and_slopes(theta)
        return kept[key]

    def misfit(theta: Floats) -> Floats:
        return problem.misfit(theta) if problem.slopes is None else both(theta)[0]

    def slopes(theta: Floats) -> Floats:
        return both(theta)[1]

    if problem.is_free:
        # Levenberg and Marquardt's method knows no ends and is much the fastest; what leaves the search is done again
        # On its way it may try places where the model overflows.
        with np.errstate(all="ignore"), contextlib.suppress(OverflowError, ValueError):
            free = least_squares(misfit, inside, slopes, method="lm", xtol=tolerance, ftol=tolerance)
            if (free.x > problem.low).all() and (free.x < problem.high).all() and math.isfinite(free.cost):
                return np.asarray(free.x, dtype=np.float64), 2.0 * float(free.cost)
    found = least_squares(
        misfit,
        inside,
        slopes,
        (problem.low, problem.high),
        xtol=tolerance,
        ftol=tolerance,
        max_nfev=_MOST_STEPS,
    )
    return np.asarray(found.x, dtype=np.float64), 2.0 * float(found.cost)


def _inverse(normal: Floats) -> Floats:
    """Return the inverse of the normal matrix; a direction that the data do not see gets a great variance."""
    # By eigenvalues, since the plain inverse fails where the data do not see a parameter.
    values, vectors = np.linalg.eigh(normal)
    floor = max(float(values[-1]), 1e-300) * 1e-13
    return np.asarray((vectors / np.maximum(values, floor)) @ vectors.T, dtype=np.float64)


def _serial_correlation(problem: Problem, misfit: Floats) -> float:
    """Return the correlation of residuals that follow each other in a well, 0 where it is not significant at 1 %."""
    in_order = misfit if problem.order is None else misfit[problem.order]
    follows = np.ones(in_order.size - 1, dtype=bool)
    if problem.breaks is not None and problem.breaks.size:
        follows[problem.breaks - 1] = False
    total = float(in_order @ in_order)
    if total <= 0.0:
        return 0.0
    correlation = float((in_order[:-1] * in_order[1:])[follows].sum()) / total
    if correlation < _SIGNIFICANT / math.sqrt(in_order.size):
        return 0.0
    return min(correlation, _HIGHEST_CORRELATION)


def _limits(problem: Problem, theta: Floats, least: float, covariance: Floats, rise: float) -> tuple[Floats, Floats]:
    lower, upper = np.full(theta.size, -math.inf), np.full(theta.size, math.inf)
    if rise <= 0.0:
        return theta.copy(), theta.copy()
    for place in range(theta.size):
        for sign, ends in ((-1.0, lower), (1.0, upper)):
            value = _newton_limit(problem, theta, least, covariance, rise, place, sign)
            if math.isnan(value):
                value = _traced_limit(problem, theta, least, covariance, rise, place, sign)
            ends[place] = value
    return lower, upper


def _newton_limit(
    problem: Problem, theta: Floats, least: float, covariance: Floats, rise: float, place: int, sign: float
) -> float:
    """Return a limit by Newton's method on the conditions that hold there, NaN where it does not get there.

    Venzon and Moolgavkar (1988), Applied Statistics 37, 87–94 (from memory): the sum of squares has the wanted height
    and does not fall along any other parameter.
    """
    spread = math.sqrt(covariance[place, place])
    left = problem.observed.size - theta.size
    half = (student_95(left) if left > 0 else NORMAL_95) * spread
    # So far from the best fit the sum of squares is no parabola, and Newton's steps lead astray.
    if not half < 1.2:
        return math.nan
    others = np.arange(theta.size) != place
    at = theta + sign * covariance[:, place] / spread**2 * half
    for _ in range(_NEWTON_STEPS):
        if (at < problem.low).any() or (at > problem.high).any():
            return math.nan
        misfit, slopes = problem.misfit_and_slopes(at)
        gradient = slopes.T @ misfit
        normal = slopes.T @ slopes
        height = 0.5 * (float(misfit @ misfit) - least - rise)
        equations = np.vstack([gradient, normal[others]])
        wanted = np.concatenate([[height], gradient[others]])
        try:
            step = np.linalg.solve(equations, wanted)
            downhill = gradient[others] @ np.linalg.solve(normal[np.ix_(others, others)], gradient[others])
        except np.linalg.LinAlgError:
            return math.nan
        if abs(height) < 0.5 * _CLOSE * rise and downhill < _CLOSE * rise:
            # A step may have gone over to the limit of the other side.
            return float(at[place] - step[place]) if sign * (at[place] - theta[place]) > 0.0 else math.nan
        longest = float(np.abs(step).max())
        if not math.isfinite(longest):
            return math.nan
        # No step above 1 in a logarithm: far from the limit Newton's would overshoot.
        at = at - step / max(longest, 1.0)
    return math.nan


def _traced_limit(
    problem: Problem, theta: Floats, least: float, covariance: Floats, rise: float, place: int, sign: float
) -> float:
    """Return a limit by following the profile outward; infinite where it never rises so far within the search."""
    edge = float(problem.high[place] if sign > 0.0 else problem.low[place])
    step = min(max(math.sqrt(max(covariance[place, place], 0.0)), 0.02), 1.0)
    inner, outer = float(theta[place]), float(theta[place])
    start = theta.copy()
    below = -rise
    while True:
        if outer == edge:
            return sign * math.inf
        outer = inner + sign * step
        outer = min(outer, edge) if sign > 0.0 else max(outer, edge)
        end, height = _profile(problem, start, place, outer)
        above = height - least - rise
        if above >= 0.0:
            break
        # A profile that levels off below the limit never reaches it: the parameter has none on this side.
        if abs(outer - inner) >= _FAR and abs(above - below) < _FLAT * rise:
            return sign * math.inf
        inner, below, start = outer, above, end
        step *= 2.0
    while abs(outer - inner) > 2e-3 * max(abs(outer - float(theta[place])), 1e-3):
        # Not nearer to an end than a tenth, or one end would stay and the other creep.
        share = min(max(below / (below - above), 0.1), 0.9)
        middle = inner + share * (outer - inner)
        end, height = _profile(problem, start, place, middle)
        rest = height - least - rise
        if abs(rest) < 0.1 * _CLOSE * rise:
            return middle
        if rest < 0.0:
            inner, below, start = middle, rest, end
        else:
            outer, above = middle, rest
    return 0.5 * (inner + outer)


def _profile(problem: Problem, start: Floats, place: int, value: float) -> tuple[Floats, float]:
    """Return the best other parameters where one is fixed, and the sum of squares there."""
    fixed = start.copy()
    fixed[place] = value
    if start.size == 1:
        misfit = problem.misfit(fixed)
        return fixed, float(misfit @ misfit)
    others = np.flatnonzero(np.arange(start.size) != place)

    def whole(part: Floats) -> Floats:
        full = fixed.copy()
        full[others] = part
        return full

    def slopes(part: Floats) -> tuple[Floats, Floats]:
        values, derivative = problem.misfit_and_slopes(whole(part))
        # The reduced problem applies the weights itself.
        return values / problem.weight + problem.observed, derivative[:, others] / problem.weight[:, None]

    reduced = Problem(
        problem.observed,
        problem.weight,
        lambda part: problem.predict(whole(part)),
        problem.low[others],
        problem.high[others],
        slopes,
        is_free=problem.is_free,
    )
    end, height = _descend(reduced, start[others], _COARSE)
    return whole(end), height
