"""Wells with loggers alone as members of the network: rounds, days, maps and thresholds; constructed records."""

import datetime as dt

import numpy as np
import pytest

from gwnet.analysis.levels.proposed_rounds import choose_rounds, levels_by_round, propose_days
from gwnet.analysis.levels.table import levels
from gwnet.analysis.loggers.alone import days_of_loggers_alone, rounds_of_loggers_alone, wells_with_loggers_alone
from gwnet.analysis.loggers.levels import add_loggers, logger_days, logger_levels
from gwnet.analysis.maps.site_maps import control_of, gradient_between
from gwnet.constants import OUT_OF_WATER_M
from gwnet.records import Selection

from .logger_record import Loggers, hours
from .record import Record

#: East, north, water elevation in March 2024, and how fast it falls [m, m, m, m/h].
PLANE = {
    "A": (0, 0, 50.0, 0.0002),
    "B": (400, 0, 49.6, 0.0002),
    "C": (0, 400, 49.8, 0.0002),
    "D": (400, 400, 49.4, 0.0002),
}


@pytest.fixture
def network(tmp_path):
    """Return four wells with loggers and no reading by hand; the sensor in D hangs at 49.0 m."""
    record = Record(tmp_path / "a.sqlite", time_zone="UTC+01:00")
    loggers = Loggers(record)
    when = hours(2400)
    for code, (east, north, head, fall) in PLANE.items():
        record.well(code, point=(60.0, 0.5), easting=600_000.0 + east, northing=5_800_000.0 + north)
        loggers.instrument(f"L-{code}")
        loggers.install(f"L-{code}", code, depth=11.0)
        true = head - fall * np.arange(when.size)
        loggers.samples(f"L-{code}", "water column", "m", when, np.maximum(true - 49.0, 0.0))
    yield loggers
    record.store.close()


@pytest.mark.slow
def test_wells_nobody_reads_are_members_of_rounds_on_record_and_of_proposed_days(network):
    with network.snapshot(site="S") as record:
        assert wells_with_loggers_alone(record) == ["A", "B", "C", "D"]
        days = days_of_loggers_alone(record)
        assert set(days["well"].value_counts()) == {100}
        assert days["event_id"].is_unique
        assert (days["event_id"] < 0).all()
        assert propose_days(record) == [(dt.date(2024, 1, 1), 4), (dt.date(2024, 4, 1), 3)]
        choose_rounds(record, dt.date(2024, 1, 1), dt.date(2024, 3, 31))
        by_round = levels_by_round(record)
    assert sorted(set(by_round["round"])) == ["2024-01-01", "2024-04-01"]
    assert by_round.groupby("round")["well"].apply(list).tolist() == [["A", "B", "C", "D"]] * 2
    # on the first of April the water in D is below the sensor
    last = by_round[by_round["round"] == "2024-04-01"].set_index("well")
    assert last["bound"].to_dict() == {"A": "", "B": "", "C": "", "D": "<="}
    assert last.loc["D", "water_elevation_m"] == pytest.approx(49.0 + OUT_OF_WATER_M)


def test_levels_at_rounds_need_no_manual_reading(network):
    network.record.add(
        "round_record",
        gauging_round_id=network.record.add("gauging_round", site_id=network.record.site_id, code="R1"),
        starts_on=dt.date(2024, 2, 1),
        ends_on=dt.date(2024, 2, 3),
        wells="[]",
    )
    with network.snapshot(site="S") as record:
        table = add_loggers(record, levels(record), Selection(), "round")
        direct = logger_levels(record, ["A"], record.rounds)
        nobody = logger_levels(record, ["A"], record.rounds.iloc[:0])
        joined = rounds_of_loggers_alone(record, levels(record), record.rounds)
        in_days = logger_days(record, ["A"], record.rounds)
    assert table["well"].tolist() == ["A", "B", "C", "D"]
    assert set(table["round"]) == {"R1"}
    assert direct["water_elevation_m"].tolist() == table["water_elevation_m"].tolist()[:1]
    assert nobody.empty
    assert joined["well"].tolist() == table["well"].tolist()
    assert [str(day)[:10] for day in in_days["day"]] == ["2024-02-01", "2024-02-02", "2024-02-03"]


def test_a_well_that_is_read_by_hand_is_not_alone(network):
    network.record.event("A", "2024-02-01T09:00", [("depth_to_water", 10.5)])
    with network.snapshot(site="S") as record:
        assert wells_with_loggers_alone(record) == ["B", "C", "D"]
        assert set(days_of_loggers_alone(record)["method"].iloc[:1]) != {"logger"}


def test_gradients_take_heads_and_maps_name_the_sensor_out_of_water(network):
    day, later = dt.date(2024, 1, 10), dt.date(2024, 4, 5)
    with network.snapshot(site="S") as record:
        aquifer = record.wells["aquifer"].iloc[0]
        gradient, _ = gradient_between(record, ["A", "B", "C", "D"], day)
        control = control_of(record, aquifer, later).set_index("well")
    assert gradient.magnitude == pytest.approx(np.hypot(0.4, 0.2) / 400, rel=1e-3)
    assert control["used"].to_dict() == {"A": True, "B": True, "C": True, "D": False}
    assert control.loc["D", "reason"] == "sensor out of water: the level is only a bound"
    assert (control.loc["D", "bound"], control.loc["D", "source"]) == ("<=", "logger")
