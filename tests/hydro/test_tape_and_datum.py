"""Stretch of tapes and shift of datums against textbook examples."""

import pytest

from gwnet.errors import SettingsError
from gwnet.hydro.reduction.datum_shift import datum_shift
from gwnet.hydro.reduction.tape_stretch import axial_stiffness, temperature_correction, tension_correction

#: EPSG Dataset, example of method 9658, longitudes west as negative.
CELL = [(29.50, -98.50, 0.144), (29.50, -98.45, 0.132), (29.45, -98.45, 0.121), (29.45, -98.50, 0.125)]


def test_a_warm_tape_is_longer():
    """Surveying exercise: 318 m at 47.92 °C, right at 20 °C, 1.16e-5 per °C: 318.103 m; 500 ft, 18 °F: 0.058 ft."""
    assert 318.0 + float(temperature_correction(318.0, 47.92)) == pytest.approx(318.10299, abs=5e-6)
    expansion = 6.45e-6 * 1.8
    assert float(temperature_correction(500.0, 30.0, expansion_per_c=expansion)) == pytest.approx(0.058, abs=5e-4)
    assert float(temperature_correction(100.0, 10.0)) == pytest.approx(-0.0116)


def test_pull_and_own_weight_stretch_a_tape():
    """Hooke's law by hand: 100 m, 40 N over the standard, 2 mm², 200 GPa: 0.01 m; 0.2 N/m of own weight: 0.0025 m."""
    made = {"standard_n": 50.0, "stiffness_n": axial_stiffness(2.0)}
    assert float(tension_correction(100.0, 90.0, **made)) == pytest.approx(0.01)
    assert float(tension_correction(100.0, 50.0, weight_n_per_m=0.2, **made)) == pytest.approx(0.0025)
    assert float(tension_correction(100.0, 10.0, **made)) == pytest.approx(-0.01)
    with pytest.raises(SettingsError, match="greater than 0"):
        axial_stiffness(0.0)


@pytest.mark.parametrize("corners", [CELL, CELL[::-1]])
def test_a_datum_shift_is_bilinear(corners):
    """EPSG Dataset, method 9658: 0.129 m, so that 247.47 m becomes 247.599 m."""
    shift = datum_shift(29.4667897, -98.4803739, corners)
    assert shift == pytest.approx(0.128756, abs=5e-7)
    assert round(247.47 + shift, 3) == 247.599
    assert datum_shift(29.50, -98.50, corners) == 0.144


@pytest.mark.parametrize(
    ("place", "corners", "words"),
    [
        ((30.0, -98.48), CELL, "outside the cell"),
        ((29.47, -98.48), CELL[:3], "four corners"),
        ((29.47, -98.48), [*CELL[:3], (29.44, -98.50, 0.1)], "no rectangle"),
    ],
)
def test_what_is_no_cell_around_the_place_is_refused(place, corners, words):
    with pytest.raises(SettingsError, match=words):
        datum_shift(*place, corners)
