"""A tape that was checked but steps against its neighbours gives the half-width of a tape never checked."""

import numpy as np
import pytest

from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.reduce import reduce_levels
from gwnet.analysis.levels.stepped_tapes import SteppedTape, find_stepped_tape, widen_stepped
from gwnet.constants import NEVER_CHECKED_TAPE_M, UNCHECKED_TAPE_SLOPE
from gwnet.store.session import open_store
from gwnet.store.snapshot import Snapshot


@pytest.fixture(scope="module")
def gathered(demo_record):
    store = open_store(demo_record)
    with store.reading() as connection:
        inputs = gather(Snapshot(connection, None).of_site())
        yield inputs, reduce_levels(inputs)
    store.close()


@pytest.fixture
def checked(gathered):
    """Row of a reading in the middle of the record of a tape that was checked before and after it."""
    inputs, reduced = gathered
    days = inputs.local_time.astype("datetime64[D]")
    checks = inputs.tape_checks
    last = {tape: np.datetime64(str(max(rows["checked_on"]))) for tape, rows in checks.groupby("instrument_id")}
    for row in np.flatnonzero(reduced.tape.checked & (reduced.parts.check_m > 0)).tolist():
        if days[row] < last[int(inputs.records["instrument_id"].iat[row])]:
            return row
    pytest.fail("the demo has no reading between two checks of its tape")


def test_readings_from_the_step_to_the_next_check_are_widened(gathered, checked):
    inputs, reduced = gathered
    tape = find_stepped_tape(inputs, int(inputs.records["event_id"].iat[checked]))
    widened = widen_stepped(inputs, reduced, [tape])
    days = inputs.local_time.astype("datetime64[D]")
    of_tape = (inputs.records["instrument_id"] == tape.instrument_id).to_numpy(dtype=bool)
    changed = widened.parts.check_m != reduced.parts.check_m
    assert changed[checked]
    assert (of_tape[changed] & (days[changed] < tape.until)).all()
    assert days[changed].min() == tape.first.astype("datetime64[D]")
    part = np.hypot(UNCHECKED_TAPE_SLOPE * reduced.repeats.depth_m[checked], NEVER_CHECKED_TAPE_M)
    assert widened.parts.check_m[checked] == pytest.approx(part)
    squares = reduced.uncertainty_m[checked] ** 2 - reduced.parts.check_m[checked] ** 2 + part**2
    assert widened.uncertainty_m[checked] == pytest.approx(np.sqrt(squares))
    np.testing.assert_array_equal(widened.water_elevation_m, reduced.water_elevation_m)


def test_without_a_later_check_every_later_reading_is_widened(gathered, checked):
    inputs, reduced = gathered
    tape = find_stepped_tape(inputs, int(inputs.records["event_id"].iat[checked]))
    until_check = widen_stepped(inputs, reduced, [tape])
    for_ever = widen_stepped(inputs, reduced, [SteppedTape(tape.instrument_id, tape.first, np.datetime64("NaT", "D"))])
    assert (for_ever.uncertainty_m > until_check.uncertainty_m).any()


def test_nothing_changes_without_a_step(gathered):
    inputs, reduced = gathered
    assert widen_stepped(inputs, reduced, []) is reduced
    assert find_stepped_tape(inputs, -1) is None
