"""What the sheet of a pumping test says: wells, kinds, distances, and when to read."""

from itertools import pairwise

import pytest

from gwnet.analysis.fieldwork.pumping_sheet import SCHEDULES, plan_schedule, pumping_sheet
from gwnet.errors import NotFoundError
from gwnet.store.snapshot import Snapshot

from ..pumping_record import pumping_network

#: A test that is planned and not made yet, and the last static levels.
PLANNED = {
    "pumping_tests": "site,test,well,kind,starts_at,stops_at\nS,PT-2,PW,constant rate,2026-05-04T08:00,2026-05-04T12:00\n",
    "pumping_rates": None,
    "pumping_readings": None,
    "level_events": "site,well,date,time,depth_to_water\nS,O1,2026-03-01,09:00,5.12\n",
}


@pytest.fixture
def planned(tmp_path):
    with pumping_network(tmp_path / "planned", **PLANNED) as net:
        yield net


def sheet_of(net, wells=None, test="PT-2"):
    with net.store.reading() as connection:
        return pumping_sheet(Snapshot(connection).of_site(), test, wells)


def test_the_sheet_names_the_wells_of_the_aquifer_with_distances_kinds_and_last_depths(planned):
    sheet = sheet_of(planned)
    assert sheet.wells["well"].tolist() == ["PW", "O1", "O2"]
    assert sheet.wells["kind"].tolist() == ["pumped", "near", "far"]
    assert sheet.wells["distance_m"].tolist() == [0.0, 30.0, 100.0]
    assert [sheet.number(depth) for depth in sheet.wells["last_m"]] == ["", "5.120", ""]
    assert sheet.pumping_min == 240.0
    assert sheet.starts_at.strftime("%H:%M") == "08:00"
    assert sheet_of(planned, ["O2"]).wells["well"].tolist() == ["PW", "O2"]


def test_a_test_that_is_not_on_record_has_no_sheet(planned):
    with pytest.raises(NotFoundError, match=r"no pumping test 'PT-9'"):
        sheet_of(planned, test="PT-9")


@pytest.mark.parametrize("kind", SCHEDULES)
def test_the_schedule_is_denser_at_first(kind):
    minutes = [minute for phase, minute in plan_schedule(kind, 1440.0) if phase == "pumping"]
    steps = [round(later - earlier, 3) for earlier, later in pairwise(minutes)]
    assert steps == sorted(steps)
    assert minutes[0] == min(steps)


def test_the_schedule_ends_with_pumping_and_begins_anew_with_recovery():
    planned = plan_schedule("pumped", 60.0)
    phases = [phase for phase, _ in planned]
    assert phases.count("pumping") == phases.count("recovery") > 20
    assert all(minute < 0 for phase, minute in planned if phase == "before")
    assert max(minute for _, minute in plan_schedule("far", 60.0)) == 60.0
    assert "recovery" not in {phase for phase, _ in plan_schedule("slug", 60.0)}


def test_wells_near_the_pumped_one_are_read_each_half_minute_at_first():
    """Denser at first, since drawdown goes with the logarithm of time: common practice, no source."""
    minutes = [minute for phase, minute in plan_schedule("near", 60.0) if phase == "pumping"]
    assert minutes[:7] == [0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0]
