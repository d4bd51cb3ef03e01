"""Explanations of levels, word for word; the numbers are those worked out by hand in `test_reduction_cases`."""

import datetime as dt

import pytest

from gwnet.analysis.levels.explain import explain
from gwnet.errors import NotFoundError
from gwnet.store.snapshot import Snapshot

from .record import Record
from .reduction_record import made_in


@pytest.fixture(scope="module")
def cases(tmp_path_factory):
    made, _ = made_in(tmp_path_factory.mktemp("cases"))
    with made.store.reading() as connection:
        yield Snapshot(connection)
    made.store.close()


BY = "   [recorded 2026-04-06 08:59 by Ana]"
END = "   [quality unchecked, review provisional]"
HELP = "   [see 'gwnet help accuracy']"
NO_CHECK = "   [no tape check on file before that day]"

PRODUCT = f"""S product at 2024-03-01T11:00+01:00
  event                         static, access main
  read by                       T1{BY}
  reading 1: depth to product   40.0 m   [as written]
  reading 1: depth to water     50.0 m   [as written]
  depth as read                 50.000 m   [one reading]
  tape correction               -0.050 m   [check of T1 on 2024-01-10: ]
  measuring point               in force from 2018-01-01 01:00
  measuring point elevation     200.000 m{BY}
  height above ground           +0.500 m
  depth to water                49.950 m   [below the measuring point]
  depth below ground            49.450 m
  water elevation, uncorrected  150.050 m   [measuring point less depth to water]
  water elevation               158.042 m   [plus 9.990 m of product at relative density 0.8]
"""
IN_FEET = f"""  depth as read                 164.04 ft   [one reading]
  tape correction               -0.164 ft   [check of T1 on 2024-01-10: ]
  measuring point               in force from 2018-01-01 01:00
  measuring point elevation     656.17 ft{BY}
  height above ground           +1.640 ft
  depth to water                163.88 ft   [below the measuring point]
  depth below ground            162.24 ft
  water elevation, uncorrected  492.29 ft   [measuring point less depth to water]
  water elevation               518.51 ft   [plus 32.78 ft of product at relative density 0.8]
"""
STEEL = f"""  depth as read              50.000 m   [one reading]
  tape correction            +0.000 m{NO_CHECK}
  temperature correction     +0.006 m   [30 degC, right at 20 degC, 11.6 ppm/degC]
  measuring point            in force from 2018-01-01 01:00
  measuring point elevation  200.000 m{BY}
  height above ground        +0.500 m
  depth to water             50.006 m   [below the measuring point]
  depth below ground         49.506 m
  water elevation            149.994 m   [measuring point less depth to water]
  uncertainty (95 %)         ± 0.112 m   [survey of the measuring point 0.005 m; reading 0.003 m; tape correction 0.112 m;\
 repeats 0.003 m; temperature and tension 0.001 m]
  accuracy                   survey: stated; reading: default of steel tape{HELP}
  may enter maps and trends  yes{END}"""
CHALKED = f"""S chalked at 2024-03-01T11:00+01:00
  event                      static, access main
  read by                    not known{BY}
  reading 1: tape at mark    20.0 m   [as written]
  reading 1: tape at water   1.25 m   [as written]
  depth by steel tape        18.750 m   [tape at the mark less tape at the water]
  depth as read              18.750 m   [one reading]
"""
SCREEN = f"""  depth to water             13.000 m   [below the measuring point]
  depth below ground         12.500 m
  water elevation            87.500 m   [measuring point less depth to water]
  head of the aquifer        <= 88.000 m   [a bound: bottom of the lowest screen]
  uncertainty (95 %)         ± 0.015 m   [survey of the measuring point 0.005 m; reading 0.003 m; tape correction 0.013 m;\
 repeats 0.003 m]
  accuracy                   survey: stated; reading: default, method not known, 2024{HELP}
  finding                    water below the screen   [Water is below the bottom of the screen, in closed pipe: the\
 aquifer's head is at or below that bottom.]
  finding                    below the bottom of the well   [The level lies below the bottom of the well; one of the two\
 is wrong.]
  may enter maps and trends  no: water below the screen{END}"""
EARLY = f"""S early at 2017-03-01T11:00+01:00
  event                      not measured, access main
  read by                    not known{BY}
  measuring point            none   [expected exactly one]
  water elevation            not known   [measuring point less depth to water]
  may enter maps and trends  no: not measured{END}"""


@pytest.mark.parametrize(
    ("well", "unit", "text"),
    [
        ("product", "m", PRODUCT),
        ("product", "ft", IN_FEET),
        ("steel", "m", STEEL),
        ("chalked", "m", CHALKED),
        ("below the screen, silted up", "m", SCREEN),
        ("early", "m", EARLY),
        ("short of", "m", "\n  tape correction            +0.000 m   [check of T2 on 2024-01-10: ]\n"),
        ("air line", "m", f"\n  read by                    T9, air line{BY}\n"),
        ("thrice", "m", "  5.002 m   [3 readings agree, averaged; spread 0.005 m, tolerance 0.006 m]\n"),
        ("disagreeing", "m", "  not known   [2 readings disagree; spread 0.100 m, tolerance 0.006 m]\n"),
        ("chosen", "m", "  5.100 m   [reading 2 was chosen]\n"),
        ("elevation", "m", "  98.000 m   [as read]\n"),
        ("ground", "m", "  98.200 m   [ground less depth below ground]\n"),
        ("other datum", "m", f"  101.000 m above Old datum{BY}\n"),
    ],
)
def test_each_step_is_said(cases, well, unit, text):
    (found,) = explain(cases, well, "20", unit=unit)
    assert text in found.text()


def test_a_level_without_a_temperature_or_a_part_says_nothing_of_it(cases):
    steps = {step.what for step in explain(cases, "elevation", "2024-03-01")[0].steps}
    assert not steps & {"tape correction", "temperature correction", "tension correction", "depth as read"}
    (uncertainty,) = (step for step in explain(cases, "elevation", "2024")[0].steps if step.what.startswith("uncert"))
    assert uncertainty.source == "survey of the measuring point 0.005 m; reading 0.005 m"


@pytest.fixture(scope="module")
def visits(tmp_path_factory):
    """Give a well with five visits, one of them by its day alone, two in rounds, and a bound of each kind."""
    made = Record(tmp_path_factory.mktemp("visits") / "record.sqlite")
    with made.act():
        made.well("A", point=(100.0, 0.5))
        made.tape("T1")
        made.check("T1", "2024-01-01", 0.0, 0.0)
        for code, first, last in (("R1", "2024-03-01", "2024-03-03"), ("R2", "2024-05-01", "2024-05-03")):
            number = made.add("gauging_round", site_id=made.site_id, code=code)
            days = {"starts_on": dt.date.fromisoformat(first), "ends_on": dt.date.fromisoformat(last)}
            made.add("round_record", gauging_round_id=number, wells="[]", **days)
        more = {"instrument_id": made.instruments["T1"], "observer": "Cleo", "notes": "lid open", "reason": "misread"}
        water = [("depth_to_water", 5.0)]
        made.event("A", "2024-03-02T10:00", water, **more)
        made.event("A", "2024-04-20T11:00", water, time_known=False)
        made.event("A", "2024-05-09T10:00", water, gauging_round_id=number)
        made.event("A", "2024-06-01T10:00", water)
        made.event("A", "2024-07-01T10:00", water)
        made.well("DRY", screen=(8.0, 12.0), point=(100.5, 0.5))
        made.event("DRY", "2024-03-20T10:00", status="dry")
        made.well("FLOWS", point=(100.5, 0.5))
        made.event("FLOWS", "2024-03-20T10:00", status="flowing")
    with made.store.reading() as connection:
        yield Snapshot(connection)
    made.store.close()


def steps_of(record, well, time):
    (found,) = explain(record, well, time)
    return {step.what: (step.value, step.source) for step in found.steps}


def test_rounds_remarks_and_reasons_are_said(visits):
    first = steps_of(visits, "A", "2024-03-02")
    assert first["round"] == ("R1", "by its day, within the dates of the round")
    assert first["read by"] == ("Cleo, T1", "recorded 2026-04-06 08:59 by Ana: misread")
    assert first["remark"] == ("lid open", "")
    assert first["tape correction"] == ("+0.000 m", "check of T1 on 2024-01-01: ")
    assert first["measuring point"] == ("in force from 2018-01-01 01:00", "")
    third = steps_of(visits, "A", "2024-05-09")
    assert third["round"] == ("R2", "")
    assert "remark" not in third
    assert "round" not in steps_of(visits, "A", "2024-06-01")


@pytest.mark.parametrize(
    ("well", "value", "source"),
    [
        ("DRY", "<= 88.000 m", "a bound: shallower of screen bottom and sounded depth"),
        ("FLOWS", ">= 100.500 m", "a bound: water above the measuring point"),
    ],
)
def test_a_bound_is_said_with_where_it_comes_from(visits, well, value, source):
    found = steps_of(visits, well, "2024-03-20")
    assert found["water elevation"] == (value, source)
    assert "head of the aquifer" not in found


def test_a_day_is_no_minute_to_be_asked_for(visits):
    """Of a level that has its day alone noon is on record, 11:00 in UTC."""
    assert len(explain(visits, "A", "2024-04-20")) == 1
    assert len(explain(visits, "A", "2024-06-01T10:00Z")) == 1
    with pytest.raises(NotFoundError):
        explain(visits, "A", "2024-04-20T11:00Z")


@pytest.mark.parametrize(
    ("time", "nearest"),
    [
        ("2024-05-20", "2024-04-20, 2024-05-09T11:00+01:00, 2024-06-01T11:00+01:00"),
        ("2024-05-20T10:00", "2024-04-20, 2024-05-09T11:00+01:00, 2024-06-01T11:00+01:00"),
        ("last summer", "2024-05-09T11:00+01:00, 2024-06-01T11:00+01:00, 2024-07-01T11:00+01:00"),
    ],
)
def test_the_three_nearest_visits_are_named_or_the_newest(visits, time, nearest):
    with pytest.raises(NotFoundError) as caught:
        explain(visits, "A", time)
    assert caught.value.message == f"There is no level event of well 'A' at {time!r}."
    assert caught.value.fix == f"The nearest on record: {nearest}."
