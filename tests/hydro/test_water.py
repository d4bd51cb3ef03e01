import numpy as np
import pytest
from hypothesis import strategies as st

from gwnet.errors import ReductionError, ShapeError
from gwnet.hydro.reduction.water import normal_gravity, sensor_depth_to_water, water_column, water_density

NAN = np.nan


def test_density_is_stated_only_where_the_formula_holds():
    found = water_density([[-0.001, 0.0], [40.0, 40.001]])
    assert np.isnan(found).tolist() == [[True, False], [False, True]]
    assert np.isnan(water_density(NAN))


def test_water_is_densest_close_to_four_degrees():
    temperatures = np.linspace(0, 40, 40_001)
    assert temperatures[np.argmax(water_density(temperatures))] == pytest.approx(3.983, abs=0.001)


def test_gravity_of_places_and_heights_is_broadcast_and_nan_stays():
    found = normal_gravity([[0.0], [90.0], [NAN]], [0.0, 1000.0])
    assert found.shape == (3, 2)
    assert np.isnan(found).tolist() == [[False, False], [False, False], [True, True]]
    np.testing.assert_allclose(found[:2, 0] - found[:2, 1], 3.086e-3, rtol=1e-9)


@pytest.mark.parametrize("latitude", [90.1, -91.0])
def test_a_latitude_beyond_a_pole_is_refused(latitude):
    with pytest.raises(ReductionError, match="beyond a pole"):
        normal_gravity([0.0, latitude])


def test_what_does_not_fit_is_named_with_its_shape():
    with pytest.raises(ShapeError, match=r"water_pressure_pa \(3,\), density_kg_m3 \(2,\)"):
        water_column([1.0, 2.0, 3.0], density_kg_m3=[1000.0, 999.0], gravity_m_s2=9.8)
    with pytest.raises(ShapeError, match=r"hanging_depth_m \(2,\)"):
        sensor_depth_to_water([1.0, 2.0], [1.0, 2.0, 3.0])
    with pytest.raises(ShapeError, match=r"latitude_deg \(2,\), height_m \(3,\)"):
        normal_gravity([1.0, 2.0], [1.0, 2.0, 3.0])


def test_a_missing_pressure_stays_missing_and_a_negative_one_is_legal():
    found = water_column([-9806.65, NAN, 0.0], density_kg_m3=1000.0, gravity_m_s2=9.80665)
    np.testing.assert_array_equal(found, [-1.0, NAN, 0.0])
    np.testing.assert_array_equal(sensor_depth_to_water(1.0, [3.0, NAN]), [-2.0, NAN])


densities, gravities = st.floats(990, 1030), st.floats(9.7, 9.9)
