"""How often limits of kriged heads hold, and how wide they are beside those of the known variogram; a table.

Run as ``python tests/bench/bench_kriging_limits.py [FIELDS [CASE ...]]`` (default 250 fields a row and all cases). Each
field is drawn from a covariance about a plane, with wells at random places, in clusters, or with a pumping cone added;
the limits are looked at in 12 places inside the wells' hull. Printed are the share of 95 % limits that hold, by the
mixture of covariances and by the known covariance (which knows nothing of a cone); the median ratio of the two widths;
the ratio of the root mean square errors of the estimates; then what a map of 10,000 nodes takes.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay
from scipy.spatial.distance import cdist
from threadpoolctl import threadpool_limits

from gwnet.constants import NORMAL_95
from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.variogram import Covariance, fit_covariance

Floats = NDArray[np.float64]

PLACES = 12
NOISE_M2 = 1e-6


@dataclass(frozen=True)
class Case:
    """Fields that limits are tried on, in units of the field's side and standard deviation."""

    covariance: Covariance
    clusters: bool = False
    cone: bool = False


CASES = {
    "exponential": Case(Covariance("exponential", 1.0, 1.0)),
    "spherical": Case(Covariance("spherical", 1.0, 0.7)),
    "smooth": Case(Covariance("matern", 1.0, 0.8)),
    "short": Case(Covariance("exponential", 0.8, 0.3, 0.2)),
    "clusters": Case(Covariance("exponential", 1.0, 1.0), clusters=True),
    "cone": Case(Covariance("exponential", 1.0, 1.0), cone=True),
}


@dataclass(frozen=True)
class Shares:
    """What came out for one number of wells."""

    held: float
    held_known: float
    width_ratio: float
    error_ratio: float


def place_wells(random: np.random.Generator, n: int, *, clusters: bool) -> Floats:
    """Return wells about a unit square whose shorter axis is at least a quarter of the longer."""
    while True:
        wells = random.random((n, 2))
        if clusters:
            centres = random.random((max(2, n // 4), 2))
            wells = centres[random.integers(0, len(centres), n)] + 0.06 * random.normal(size=(n, 2))
        axes = np.linalg.svd(wells - wells.mean(axis=0), compute_uv=False)
        if axes[1] > 0.25 * axes[0]:
            return wells


def places_inside(random: np.random.Generator, wells: Floats) -> Floats:
    """Return places inside the hull of the wells."""
    hull, found = Delaunay(wells), np.empty((0, 2))
    low, high = wells.min(axis=0), wells.max(axis=0)
    while len(found) < PLACES:
        tried = low + random.random((200, 2)) * (high - low)
        found = np.vstack([found, tried[hull.find_simplex(tried) >= 0]])
    return found[:PLACES]


def drawdown(random: np.random.Generator, places: Floats) -> Floats:
    """Return the drawdown of a pumped well (Thiem) with a radius of 0.02 and a reach of 1, 1.5 to 6 deep at the well."""
    distance = np.hypot(*(places - random.uniform(0.1, 0.9, 2)).T)
    depth = random.uniform(1.5, 6.0)
    return depth * np.log(np.clip(distance, 0.02, 1.0)) / np.log(50.0)


def simulate_limits(case: Case, n: int, *, fields: int = 250, seed: int = 1) -> Shares:
    """Return how often limits of kriged heads hold the heads of simulated fields, and how wide they are."""
    random = np.random.default_rng(seed)
    held, ratios, squares = np.zeros(2), [], np.zeros(2)
    for _ in range(fields):
        wells = place_wells(random, n, clusters=case.clusters)
        places = places_inside(random, wells)
        both = np.vstack([wells, places])
        matrix = case.covariance.at(cdist(both, both)) + (case.covariance.nugget_m2 + 1e-9) * np.eye(len(both))
        heads = np.linalg.cholesky(matrix) @ random.normal(size=len(both)) + both @ random.normal(size=2)
        if case.cone:
            heads += drawdown(random, both)
        levels = heads[:n] + np.sqrt(NOISE_M2) * random.normal(size=n)
        errors, widths = [], []
        for covariance in (None, case.covariance):
            surface = kriging.fit(*wells.T, levels, covariance=covariance, measurement_variance_m2=NOISE_M2)
            errors.append(np.abs(surface.predict(*places.T) - heads[n:]))
            widths.append(NORMAL_95 * surface.standard_error(*places.T))
        held += np.count_nonzero(np.array(errors) <= np.array(widths), axis=1)
        squares += np.sum(np.square(errors), axis=1)
        ratios.append(widths[0] / widths[1])
    shares = held / (fields * PLACES)
    return Shares(shares[0], shares[1], float(np.median(ratios)), float(np.sqrt(squares[0] / squares[1])))


def time_maps(n: int) -> tuple[float, float, float]:
    """Return the seconds of a map of 10,000 nodes: of one covariance given, of one fitted, and of the mixture."""
    random = np.random.default_rng(n)
    wells = random.random((n, 2))
    heads = wells @ [1.0, 2.0] + np.sin(4.0 * wells[:, 0])
    lines = np.linspace(0.0, 1.0, 100)
    taken = []
    for make in (
        lambda: Covariance("exponential", 1.0, 1.0),
        lambda: fit_covariance(*wells.T, heads, measurement_variance_m2=NOISE_M2),
        lambda: None,
    ):
        seconds = []
        for _ in range(3):
            start = time.process_time()
            surface = kriging.fit(*wells.T, heads, covariance=make(), measurement_variance_m2=NOISE_M2)
            surface.predict(lines[None, :], lines[:, None])
            surface.standard_error(lines[None, :], lines[:, None])
            seconds.append(time.process_time() - start)
        taken.append(min(seconds))
    return taken[0], taken[1], taken[2]


def main(fields: int, names: list[str]) -> None:
    """Print the tables."""
    print(f"{'case':>12} {'wells':>5} {'held':>6} {'known':>6} {'width':>6} {'error':>6}")
    for name in names:
        for n in (6, 10, 20, 40):
            row = simulate_limits(CASES[name], n, fields=fields)
            print(
                f"{name:>12} {n:5d} {row.held:6.3f} {row.held_known:6.3f} {row.width_ratio:6.2f} {row.error_ratio:6.2f}",
                flush=True,
            )
    for n in (6, 10, 20, 40, 100):
        given, fitted, mixed = time_maps(n)
        print(
            f"map of 10,000 nodes, {n} wells: mixture {mixed:.4f} s; {mixed / given:.1f} x one covariance given, "
            f"{mixed / fitted:.1f} x one fitted"
        )


if __name__ == "__main__":
    with threadpool_limits(limits=1, user_api="blas"):
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 250, sys.argv[2:] or list(CASES))
