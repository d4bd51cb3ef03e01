"""How often limits of gradients hold, printed as a table: simulated fields of wells, 1,000 draws a row unless said.

Run as ``python tests/bench/bench_gradient_limits.py [DRAWS]``. The truth is the mean gradient of the simulated head
surface inside the wells' hull: the line integral of the surface around the hull over its area (Gauss). The last rows have three wells: with the
departures that a round of more wells has from its plane, some of them the three, and with reading errors of 5 mm alone.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from gwnet.hydro.gradients.horizontal import Gradient, plane_gradient

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shares:
    """How often, of all draws, and of those with a significant gradient."""

    significant: float
    size_held: float
    direction_held: float
    size_held_where_significant: float
    significant_and_turned: float


def place_wells(random: np.random.Generator, n: int) -> Floats:
    """Return wells in a unit square whose shorter axis is at least a quarter of the longer."""
    while True:
        wells = random.random((n, 2))
        axes = np.linalg.svd(wells - wells.mean(axis=0), compute_uv=False)
        if axes[1] > 0.25 * axes[0]:
            return wells


def rim_of(wells: Floats) -> tuple[Floats, Floats]:
    """Return points on the rim of the hull, and the weights that turn heads there into the mean gradient."""
    corners = wells[ConvexHull(wells).vertices]
    sides = np.roll(corners, -1, axis=0) - corners
    following = corners + sides
    area = 0.5 * np.sum(corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0])
    share = (np.arange(24) + 0.5) / 24
    points = (corners[:, None, :] + share[None, :, None] * sides[:, None, :]).reshape(-1, 2)
    outward = np.column_stack([sides[:, 1], -sides[:, 0]]) / 24 / area
    return points, np.repeat(outward, 24, axis=0)


def simulate_limits(n: int, size: float, *, reach: float = 0.0, draws: int = 1000, seed: int = 1) -> Shares:
    """Return how often the limits of a gradient hold the mean gradient of simulated surfaces.

    Departures from a plane have a standard deviation of 1 over a field of 1; `reach` is the distance at which their
    correlation (exponential) is 5 %, 0 for departures independent from well to well.
    """
    random = np.random.default_rng(seed)
    counts = np.zeros(5)
    for _ in range(draws):
        wells = place_wells(random, n)
        turn = random.uniform(0.0, 2.0 * np.pi)
        slope = size * np.array([np.cos(turn), np.sin(turn)])
        departure = random.normal(size=n)
        if reach > 0.0:
            rim, weights = rim_of(wells)
            places = np.vstack([wells, rim])
            apart = np.hypot(*(places[:, None, :] - places[None, :, :]).transpose(2, 0, 1))
            root = np.linalg.cholesky(np.exp(-3.0 * apart / reach) + 1e-9 * np.eye(len(places)))
            field = root @ random.normal(size=len(places))
            departure, slope_of_field = field[:n], field[n:] @ weights
        else:
            slope_of_field = np.zeros(2)
        truth = slope + slope_of_field
        gradient = plane_gradient(*wells.T, wells @ slope + departure, 1e-6)
        true_size, true_azimuth = np.hypot(*truth), np.degrees(np.arctan2(-truth[0], -truth[1]))
        held, towards, off = judge(gradient, true_size, true_azimuth)
        counts += [
            gradient.determined,
            held,
            towards,
            held and gradient.determined,
            gradient.determined and abs(off) > 45.0,
        ]
    shares = counts / draws
    given = counts[3] / counts[0] if counts[0] else float("nan")
    return Shares(*shares[:3], given, shares[4])


def judge(gradient: Gradient, true_size: float, true_azimuth: float) -> tuple[bool, bool, float]:
    """Return whether the limits of size and direction hold the truth, and how far the direction is off it [deg]."""
    off = (true_azimuth - gradient.azimuth_deg + 180.0) % 360.0 - 180.0
    held = (
        abs(gradient.magnitude - true_size) <= gradient.magnitude_half_width
        if gradient.determined
        else true_size <= gradient.upper_limit
    )
    return held, -gradient.anticlockwise_deg <= off <= gradient.clockwise_deg, off


def simulate_three(n: int, size: float, *, among: bool = True, draws: int = 1000, seed: int = 1) -> Shares:
    """Return how often the gradient of three wells holds and is significant, with the scale of a round of `n` wells.

    The three are among the wells of that round, and depart from a plane as they did then, or are others; 0 wells is
    without such a round. Departures are independent from well to well, so the truth is the gradient of the plane.
    """
    random = np.random.default_rng(seed)
    counts = np.zeros(5)
    for _ in range(draws):
        wells = place_wells(random, max(n, 3))
        while True:
            three = random.permutation(len(wells))[:3]
            axes = np.linalg.svd(wells[three] - wells[three].mean(axis=0), compute_uv=False)
            if axes[1] > 0.25 * axes[0]:
                break
            wells = place_wells(random, max(n, 3))
        turn = random.uniform(0.0, 2.0 * np.pi)
        slope = size * np.array([np.cos(turn), np.sin(turn)])
        heads = wells @ slope + random.normal(size=len(wells))
        known = plane_gradient(*wells.T, heads, 0.005).departure if n else None
        if not among:
            heads = wells @ slope + random.normal(size=len(wells))
        gradient = plane_gradient(*wells[three].T, heads[three], 0.005, departure=known)
        azimuth = np.degrees(np.arctan2(-slope[0], -slope[1]))
        held, towards, off = judge(gradient, size, azimuth)
        says = "only the reading errors are known" in gradient.note
        counts += [gradient.determined, held, towards, says, gradient.determined and abs(off) > 45.0]
    return Shares(*(counts / draws))


def main(draws: int) -> None:
    """Print the table."""
    print(
        f"{'wells':>5} {'reach':>6} {'fall/sd':>8} {'signif.':>8} {'size':>6} {'dir.':>6} {'size|s':>7} {'turned':>7}"
    )
    cases = [(n, size, 0.0) for n in (4, 5, 6, 10, 25) for size in (0.0, 3.0, 10.0, 60.0)]
    cases += [(n, 5.0, reach) for n in (4, 6, 10, 25) for reach in (0.2, 0.5, 1.0, 3.0)]
    for n, size, reach in cases:
        row = simulate_limits(n, size, reach=reach, draws=draws)
        print(
            f"{n:5d} {reach:6.1f} {size:8.0f} {row.significant:8.3f} {row.size_held:6.3f} {row.direction_held:6.3f} "
            f"{row.size_held_where_significant:7.3f} {row.significant_and_turned:7.3f}"
        )
    print(
        "three wells, with the wells of the round; in place of size|s whether only the reading error is said to be known"
    )
    three = [(n, size, True) for n in (6, 10, 25, 0) for size in (0.0, 3.0, 10.0)]
    three += [(n, size, False) for n in (6, 10, 25) for size in (0.0, 3.0, 10.0)]
    for n, size, among in three:
        row = simulate_three(n, size, among=among, draws=draws)
        print(
            f"{n:5d} {'among' if among else 'others':>6} {size:8.0f} {row.significant:8.3f} {row.size_held:6.3f} {row.direction_held:6.3f} "
            f"{row.size_held_where_significant:7.3f} {row.significant_and_turned:7.3f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
