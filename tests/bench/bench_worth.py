"""How fast the worth of wells is in closed form beside leaving out each and fitting again, and how far both differ.

Run: ``python tests/bench/bench_worth.py [WELLS ...]`` (default 50, 200 and 1,000 wells). Prints, from one run in one
thread, seconds of processor time, their ratio and the largest difference. Of many wells a part is fitted again, and the
seconds are carried up by their number.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from threadpoolctl import threadpool_limits

from gwnet.hydro.surfaces import kriging
from gwnet.hydro.surfaces.kriging_system import worth_of_wells
from gwnet.hydro.surfaces.surface_sums import hull_nodes
from gwnet.hydro.surfaces.variogram import Covariance

COVARIANCE = Covariance("exponential", 0.1, 1500.0)
NOISE_M2 = 1e-4
MOST_REFITS = 60


def compare(count: int) -> None:
    """Print the ratio for constructed heads at so many wells."""
    random = np.random.default_rng(count)
    x, y = random.uniform(0.0, 5000.0, (2, count))
    z = 40.0 - 0.002 * x + random.normal(0.0, 0.3, count)
    surface = kriging.fit(x, y, z, covariance=COVARIANCE, measurement_variance_m2=NOISE_M2)
    node_x, node_y, area = hull_nodes(surface.hull)
    shares = area / area.sum()
    start = time.process_time()
    closed = worth_of_wells(surface, node_x, node_y, area)
    middle = time.process_time()
    drawn, largest = surface.predict(node_x, node_y), 0.0
    refitted = random.permutation(count)[:MOST_REFITS]
    for well in refitted:
        kept = np.arange(count) != well
        one = kriging.fit(x[kept], y[kept], z[kept], covariance=COVARIANCE, measurement_variance_m2=NOISE_M2)
        change = float(shares @ np.abs(one.predict(node_x, node_y) - drawn))
        error = float(np.sqrt(shares @ one.standard_error(node_x, node_y) ** 2))
        off = abs(change - closed.mean_change_m[well]), abs(error - closed.error_without_m[well])
        largest = max(largest, *off)
    seconds = (time.process_time() - middle) * count / refitted.size
    taken = max(middle - start, 1e-6)
    print(f"{count} wells: closed form {taken:.4f} s, refits {seconds:.2f} s, {seconds / taken:.0f} x; ", end="")
    print(f"largest difference {largest:.1e} m")


if __name__ == "__main__":
    with threadpool_limits(limits=1, user_api="blas"):
        for wanted in [int(text) for text in sys.argv[1:]] or [50, 200, 1000]:
            compare(wanted)
