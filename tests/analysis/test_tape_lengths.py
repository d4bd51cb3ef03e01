"""Corrections for temperature and tension of tapes, from rows of the record; numbers by hand."""

import numpy as np
import pytest

from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduction_of
from gwnet.analysis.levels.tape_lengths import correct_stretch
from gwnet.store.snapshot import Snapshot

from .record import Record


def test_each_correction_needs_what_it_rests_on(tmp_path):
    """100 m, 10 degC warmer, 11.6 ppm: 11.6 mm; 40 N over the standard of a tape of 400 kN: 10 mm, not with a check."""
    made = Record(tmp_path / "record.sqlite")
    made.well("A", point=(200.0, 0.5))
    steel = made.tape("S", kind="steel tape", standard_tension_n=50.0, axial_stiffness_kn=400.0)
    other = made.tape("E")
    given = {"tape_temperature_degc": 30.0, "tape_tension_n": 90.0}
    made.event("A", "2024-01-01", [("depth_to_water", 100.0)], instrument_id=steel, **given)
    made.event("A", "2024-01-02", [("depth_to_water", 100.0)], instrument_id=other, **given)
    made.event("A", "2024-01-03", [("depth_to_water", 100.0)], instrument_id=steel)
    with made.store.reading() as connection:
        inputs = gather(Snapshot(connection))
    depth = np.full(3, 100.0)
    found = correct_stretch(inputs, depth, np.zeros(3, dtype=bool))
    assert found.temperature_m.tolist() == pytest.approx([0.0116, 0.0, 0.0], abs=1e-12)
    assert found.tension_m.tolist() == pytest.approx([0.01, 0.0, 0.0], abs=1e-12)
    assert found.half_width_m.tolist() == pytest.approx([np.hypot(0.00232, 0.001), 0.0, 0.0], abs=1e-12)
    assert found.temperature_from[1] == "no thermal_expansion of the tape on record"
    assert found.tension_from[1] == "no standard_tension and axial_stiffness of the tape on record"
    assert (found.temperature_from[2], found.tension_from[2]) == ("", "")
    checked = correct_stretch(inputs, depth, np.ones(3, dtype=bool))
    assert checked.total_m().tolist() == pytest.approx([0.0116, 0.0, 0.0], abs=1e-12)
    assert checked.tension_from[0] == "the tape check holds it"


def test_the_stretch_of_the_tape_lengthens_the_depth_and_lowers_the_head(tmp_path):
    """A tape that is 11.6 mm and 10 mm longer than it says, in 100 m: the water is that much deeper."""
    made = Record(tmp_path / "record.sqlite")
    made.well("A", point=(200.0, 0.5))
    tape = made.tape("S", kind="steel tape", standard_tension_n=50.0, axial_stiffness_kn=400.0)
    given = {"tape_temperature_degc": 30.0, "tape_tension_n": 90.0}
    made.event("A", "2024-01-01", [("depth_to_water", 100.0)], instrument_id=tape, **given)
    with made.store.reading() as connection:
        _, reduced = reduction_of(Snapshot(connection))
    assert reduced.depth_to_water_m.tolist() == pytest.approx([100.0216], abs=1e-9)
    assert reduced.water_elevation_m.tolist() == pytest.approx([99.9784], abs=1e-9)
