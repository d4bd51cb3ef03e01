"""What is worked out on a snapshot is recorded only on the state of the record that it was worked out on."""

import pytest

from gwnet.network import Network, init
from gwnet.store.waiting import newest_serial

SITES = "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,UTC\n"


@pytest.fixture
def others(tmp_path):
    """Give a record, and a function by which somebody else records an aquifer."""
    init(tmp_path / "record.sqlite")
    with Network(tmp_path / "record.sqlite") as net:
        (tmp_path / "sites.csv").write_text(SITES)
        net.load([tmp_path / "sites.csv"], by="Ana")

        def record_one(number):
            (tmp_path / "aquifers.csv").write_text(f"aquifer\nA{number}\n")
            with Network(tmp_path / "record.sqlite") as other:
                other.load([tmp_path / "aquifers.csv"], by="Ben")

        yield net, record_one


def state_of(record):
    return newest_serial(record.connection)


@pytest.mark.parametrize("disturbed", [0, 1])
def test_it_is_worked_out_anew_where_somebody_has_recorded_meanwhile(others, disturbed):
    net, record_one = others
    plans = []

    def plan(record):
        plans.append(state_of(record))
        if len(plans) <= disturbed:
            record_one(len(plans))
        return plans[-1]

    recorded = net.checks._planned(plan, lambda connection, made: (made, newest_serial(connection)), "check", "Ana")
    assert len(plans) == disturbed + 1
    assert recorded == (1 + disturbed, 1 + disturbed)


def test_on_a_record_that_never_rests_it_is_worked_out_under_the_lock(others):
    net, record_one = others
    plans = []

    def plan(record):
        plans.append(state_of(record))
        if len(plans) < 3:
            record_one(len(plans))
        return plans[-1]

    recorded = net.checks._planned(plan, lambda connection, made: (made, newest_serial(connection)), "check", "Ana")
    assert plans == [1, 2, 3]
    assert recorded == (3, 3)
