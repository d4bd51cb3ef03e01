"""Velocities, vertical gradients and directions against published numbers."""

import numpy as np
import pytest

from gwnet.hydro.gradients.directions import directions
from gwnet.hydro.gradients.seepage import parse_conductivity, parse_share, seepage_velocity
from gwnet.hydro.gradients.vertical import vertical_gradients
from gwnet.hydro.reduction.elevation import water_elevation


@pytest.mark.parametrize(
    ("conductivity", "gradient", "porosity", "printed_m_per_day"),
    [("60 m/d", 1 / 1000, "0.20", 0.3), ("0.0001 m/d", 1 / 10, "0.50", 0.00002)],
)
def test_velocity_in_sand_and_clay(conductivity, gradient, porosity, printed_m_per_day):
    """Heath (1983), USGS Water-Supply Paper 2220, p. 25, from memory: coarse sand 0.3 m/d, clay 0.00002 m/d."""
    found = seepage_velocity(gradient, parse_conductivity(conductivity), parse_share(porosity, "porosity"))
    assert found.velocity_m_s * 86_400 == pytest.approx(printed_m_per_day, rel=1e-9)


def test_velocity_in_a_sand_column():
    """A public university exercise set with its answers: K 1e-4 cm/s, i 0.01, n 0.20: q 1e-6 and v 5e-6 cm/s."""
    conductivity = parse_conductivity("1e-4 cm/s")
    found = seepage_velocity(0.01, conductivity, parse_share("0.20", "porosity"))
    assert conductivity.lowest * 0.01 * 100 == pytest.approx(1e-6)
    assert found.velocity_m_s * 100 == pytest.approx(5e-6)


def test_nested_piezometers():
    """Freeze and Cherry (1979), Groundwater, problem 2-1: surface at 450 m, depths 150, 100 and 50 m.

    Depths to water 27, 47 and 36 m. The problem is the book's; the answers were worked out by hand: heads 423, 403 and
    414 m; 20 m over 50 m upward between the lower two, 11 m over 50 m downward between the upper two.
    """
    middle = 450.0 - np.array([150.0, 100.0, 50.0])
    head = water_elevation([27.0, 47.0, 36.0], 450.0)
    assert head.tolist() == [423.0, 403.0, 414.0]
    found = vertical_gradients(middle[1:], middle[:-1], head[1:], head[:-1], upper_half_width_m=1, lower_half_width_m=1)
    assert found.gradient.tolist() == [0.40, -0.22]
    assert found.determined.all()


def test_mean_direction_of_the_roulette_data():
    """Mardia and Jupp (2000), Directional Statistics, the roulette data, from memory.

    Nine stops of a wheel at 43, 45, 52, 61, 75, 88, 88, 279 and 357 degrees: mean direction 51 degrees, mean resultant
    length 0.711.
    """
    found = directions([43, 45, 52, 61, 75, 88, 88, 279, 357])
    assert round(found.mean_deg) == 51
    assert round(found.concentration, 3) == 0.711
