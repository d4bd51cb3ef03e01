"""Levels that do not fit their neighbours, found even where several of them hide one another."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from gwnet.constants import MAD_TO_SD, NORMAL_95
from gwnet.errors import AnalysisError
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.hull import control_arrays
from gwnet.hydro.surfaces.variogram import Covariance, fit_covariance

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Fewer wells than this are not searched: their neighbours say too little (project default).
LEAST_SEARCHED: Final = 6

#: A level is an outlier beyond this many of its leave-one-out standard errors (project default).
STANDARD_ERRORS: Final = 4.0

#: ... and beyond this many of its own 95 % half-widths (project default).
HALF_WIDTHS: Final = 3.0

_NEIGHBOURS = 6
_FIRST_LIMIT = 6.0
_MOST_TRIPLES = 4000
_FITS = 3
#: Root of t^4 = t + 1, for evenly spread triples.
_SPREAD = 1.2207440846057596


@dataclass(frozen=True, eq=False)
class NeighbourTest:
    """Each level against what the other, sound levels suggest.

    Attributes
    ----------
    residual_m : numpy.ndarray, shape (n,)
        Level less estimate from the sound levels without it: positive where it stands above them; NaN where they give
        none [m].
    limit_m : numpy.ndarray, shape (n,)
        Size of the residual beyond which a level is an outlier; NaN where not tested [m].
    outlier : numpy.ndarray of bool, shape (n,)
        True for the levels that do not fit.
    """

    residual_m: Floats
    limit_m: Floats
    outlier: Flags


def neighbour_test(x: ArrayLike, y: ArrayLike, z: ArrayLike, half_width_m: ArrayLike = 0.0) -> NeighbourTest:
    """Test each level against what the others suggest.

    Parameters as `gwnet.hydro.surfaces`.

    Parameters
    ----------
    half_width_m : array_like, optional
        95 % half-width of each level, one number or shape (n,) [m].

    Returns
    -------
    NeighbourTest
        Residuals, limits and outliers; nothing is tested with fewer than six wells.

    Notes
    -----
    Outliers pull an ordinary fit towards themselves and so hide one another. The search therefore starts from the plane
    whose median absolute residual is least (least median of squares, Rousseeuw, 1984). A well is set aside where its
    residual differs from the median of its six nearest neighbours', per distance from them, by more than six times
    what is usual (1.48 times the median over all wells). The rest is kriged (linear drift, exponential covariance with
    nugget fitted to them).

    Each level is then held against the kriged estimate from the sound levels without it. It is an outlier when the
    difference exceeds 4 s times its standard error and 3 times its own 95 % half-width, where s is the median absolute
    standardised residual of the sound levels over 0.6745, at least 1. Wells set aside that fit come back; of the sound
    ones that do not fit the worst is set aside; this repeats until nothing changes. At least half of the wells stay.

    In trials with constructed surfaces and gross errors, all were found while they were at most a fifth of the wells
    and scattered, or a group of up to four neighbours that are off alike; a larger group looks like the aquifer itself.
    """
    xs, ys, zs = control_arrays(x, y, z)
    widths = np.nan_to_num(np.broadcast_to(np.asarray(half_width_m, dtype=np.float64), xs.shape))
    nothing = np.full(xs.shape, np.nan)
    if xs.size < LEAST_SEARCHED:
        return NeighbourTest(nothing, nothing, np.zeros(xs.shape, dtype=np.bool_))
    sound = _first_sound(xs, ys, zs, widths)
    test = _Test(xs, ys, zs, widths)
    seen: set[bytes] = set()
    residual, limit = nothing, nothing
    while sound.tobytes() not in seen:
        seen.add(sound.tobytes())
        residual, limit = test.against(sound, fit_anew=len(seen) <= _FITS)
        beyond = np.nan_to_num(np.abs(residual)) > limit
        changed = sound | ~beyond
        worst = np.argmax(np.where(sound & beyond, np.abs(residual) / limit, 0.0))
        if sound[worst] and beyond[worst] and changed.sum() > max(LEAST_SEARCHED - 1, xs.size // 2):
            changed[worst] = False
        if not _carries(xs, ys, changed):
            break
        sound = changed
    return NeighbourTest(residual, limit, np.nan_to_num(np.abs(residual)) > limit)


class _Test:
    """Levels against the kriged surface of the sound ones."""

    def __init__(self, x: Floats, y: Floats, z: Floats, half_width: Floats) -> None:
        self.x, self.y, self.z, self.half_width = x, y, z, half_width
        self.noise = (half_width / NORMAL_95) ** 2
        self.covariance: Covariance | None = None

    def against(self, sound: Flags, *, fit_anew: bool) -> tuple[Floats, Floats]:
        """Return residuals and limits of all levels."""
        x, y, z, noise = self.x[sound], self.y[sound], self.z[sound], self.noise[sound]
        if fit_anew or self.covariance is None:
            self.covariance = fit_covariance(
                x, y, z, measurement_variance_m2=noise, models=("exponential",), nugget=True
            )
        surface = kriging.fit(x, y, z, covariance=self.covariance, measurement_variance_m2=noise)
        left_out = surface.leave_one_out()
        residual, error = np.empty_like(self.z), np.empty_like(self.z)
        residual[sound], error[sound] = left_out.residual_m, left_out.standard_error_m
        aside = ~sound
        residual[aside] = self.z[aside] - surface.predict(self.x[aside], self.y[aside])
        error[aside] = np.sqrt(surface.standard_error(self.x[aside], self.y[aside]) ** 2 + self.noise[aside])
        usual = MAD_TO_SD * float(np.nanmedian(np.abs(left_out.residual_m / left_out.standard_error_m)))
        return residual, np.maximum(STANDARD_ERRORS * max(usual, 1.0) * error, HALF_WIDTHS * self.half_width)


def _first_sound(x: Floats, y: Floats, z: Floats, half_width: Floats) -> Flags:
    """Return the levels to begin with: those near a robust plane, compared with their neighbours."""
    residual = z - _robust_plane(x, y, z)
    points = np.column_stack([x, y])
    nearest = KDTree(points).query(points, k=min(_NEIGHBOURS, x.size - 1) + 1)
    distance, near = (np.asarray(values)[:, 1:] for values in nearest)
    away = np.median(distance, axis=1)
    contrast = np.abs(residual - np.median(residual[near], axis=1))
    beyond = np.maximum(contrast - HALF_WIDTHS * half_width, 0.0)
    usual = MAD_TO_SD * float(np.median(contrast / away))
    off = beyond / away
    sound = off <= max(_FIRST_LIMIT * usual, 1e-9 * float(np.ptp(z) / np.max(away)))
    least = max(LEAST_SEARCHED - 1, x.size // 2)
    if sound.sum() < least:
        sound[np.argsort(off, kind="stable")[:least]] = True
    return sound if _carries(x, y, sound) else np.ones(sound.shape, dtype=np.bool_)


def _carries(x: Floats, y: Floats, chosen: Flags) -> bool:
    """Return whether the chosen wells can carry a surface."""
    try:
        control_arrays(x[chosen], y[chosen], x[chosen])
    except AnalysisError:
        return False
    return True


def _robust_plane(x: Floats, y: Floats, z: Floats) -> Floats:
    """Return the heads of the plane through three wells whose median absolute residual is least."""
    scale = max(np.ptp(x), np.ptp(y))
    columns = np.column_stack([np.ones_like(x), (x - x.mean()) / scale, (y - y.mean()) / scale])
    triples = _triples(x.size)
    corners = columns[triples]
    proper = np.abs(np.linalg.det(corners)) > 1e-3
    if not proper.any():
        return np.full(z.shape, np.median(z))
    corners, heads = corners[proper], (z - z.mean())[triples[proper]]
    values = np.linalg.solve(corners, heads[:, :, None])[:, :, 0]
    misfit = np.median(np.abs(z - z.mean() - values @ columns.T), axis=1)
    best: Floats = z.mean() + columns @ values[int(np.argmin(misfit))]
    return best


def _triples(count: int) -> NDArray[np.int64]:
    """Return all triples of wells, or 4,000 evenly spread ones."""
    if count * (count - 1) * (count - 2) // 6 <= _MOST_TRIPLES:
        return np.array(list(combinations(range(count), 3)), dtype=np.int64)
    shares = np.mod(np.arange(1, _MOST_TRIPLES + 1)[:, None] / _SPREAD ** np.arange(1, 4), 1.0)
    picked = (shares * count).astype(np.int64)
    ordered = np.sort(picked, axis=1)
    return np.asarray(picked[np.all(np.diff(ordered, axis=1) > 0, axis=1)], dtype=np.int64)
