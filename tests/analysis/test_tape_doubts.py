"""Changes that rest on tapes without a check, or on one that steps; a constructed record of four wells and two tapes."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from gwnet.analysis.levels.inputs import gather
from gwnet.analysis.levels.stepped_tapes import SteppedTape
from gwnet.analysis.levels.table import levels
from gwnet.analysis.levels.tape_doubts import STEPPED, UNCHECKED, TapeDoubt, describe_tape_doubts, find_tape_doubts
from gwnet.analysis.maps.change import change_of
from gwnet.constants import NEVER_CHECKED_TAPE_M
from gwnet.products.comparisons import ChangeMap
from gwnet.products.maps import map_context
from gwnet.store.snapshot import Snapshot

from .record import Record

BEFORE, AFTER = dt.date(2024, 3, 1), dt.date(2024, 9, 1)
PLACES = {"A": (0, 0), "B": (400, 0), "C": (0, 400), "D": (400, 400)}


@pytest.fixture(scope="module")
def read_with_two_tapes(tmp_path_factory):
    """Well D is read with a tape never checked in September, all others with a checked one."""
    made = Record(tmp_path_factory.mktemp("tapes") / "a.sqlite", time_zone="UTC")
    made.tape("T-1")
    made.tape("T-2")
    made.check("T-1", "2024-01-10", 10.0, 10.0)
    for code, (east, north) in PLACES.items():
        made.well(code, point=(60.0, 0.5), easting=600_000.0 + east, northing=5_800_000.0 + north)
        for day, depth in ((BEFORE, 10.0), (AFTER, 10.1)):
            tape = "T-2" if code == "D" and day == AFTER else "T-1"
            made.event(code, f"{day}T09:00", [("depth_to_water", depth)], instrument_id=made.instruments[tape])
    yield made
    made.store.close()


def snapshot(connection):
    return Snapshot(connection, None).of_site()


def test_a_change_has_the_half_width_of_the_levels_and_says_which_tape_it_rests_on(read_with_two_tapes):
    with read_with_two_tapes.store.reading() as connection:
        record = snapshot(connection)
        doubts, table = find_tape_doubts(record), levels(record)
        result = change_of(record, "upper", AFTER, BEFORE)
        facts = ChangeMap(result, map_context(record, "upper")).facts()
    (event,) = table.loc[(table["well"] == "D") & (table["instrument"] == "T-2"), "event_id"]
    assert dict(doubts) == {int(event): TapeDoubt("T-2", UNCHECKED)}
    change = result.wells.set_index("well")
    assert change.loc["D", "uncertainty_m"] > NEVER_CHECKED_TAPE_M
    assert (change.loc[["A", "B", "C"], "uncertainty_m"] < 0.03).all()
    # 0.1 m is more than the readings of a checked tape are apart by chance, and less than what T-2 may be out by
    assert change["is_significant"].to_dict() == {"A": True, "B": True, "C": True, "D": False}
    sentence = "D: read with tape T-2, which had no check on record, so that ± is that of an unchecked tape."
    assert result.tapes == (sentence,)
    assert facts[-1] == sentence


def test_a_tape_that_steps_is_in_doubt_from_its_step_to_its_next_check(read_with_two_tapes, monkeypatch):
    from gwnet.analysis.checks import open_findings

    with read_with_two_tapes.store.reading() as connection:
        record = snapshot(connection)
        codes = gather(record).instruments.set_index("instrument")["instrument_id"]
        step = SteppedTape(int(codes["T-1"]), np.datetime64("2024-09-01T00:00", "us"), np.datetime64("NaT", "D"))
        monkeypatch.setattr(open_findings, "stepped_tapes", lambda _: (step,))
        result = change_of(record, "upper", AFTER, BEFORE)
        why = sorted(doubt.why for doubt in find_tape_doubts(record).values())
    assert why == [UNCHECKED, STEPPED, STEPPED, STEPPED]
    assert (result.wells["uncertainty_m"] > NEVER_CHECKED_TAPE_M).all()
    assert not result.wells["is_significant"].any()
    assert result.tapes[0].startswith("A, B, C: read with tape T-1, whose levels step against those of other tapes")


def test_each_tape_and_reason_is_said_once():
    doubts = {1: TapeDoubt("T-2", UNCHECKED), 2: TapeDoubt("T-2", UNCHECKED), 3: TapeDoubt("T-1", STEPPED)}
    wells = pd.Series({1: "B", 2: "A", 3: "A", 4: "C"})
    said = describe_tape_doubts(doubts, wells)
    assert [sentence.partition(",")[0] for sentence in said] == ["A: read with tape T-1", "A"]
    assert said[1].startswith("A, B: read with tape T-2, which had no check on record")
    assert describe_tape_doubts(doubts, wells.iloc[3:]) == ()
