"""``gwnet check``: what is printed, what is recorded, and what a second run does."""

import csv
import datetime as dt
import io
import json

import pytest

from gwnet.cli import DONE, DONE_WITH_FINDINGS, STOPPED, WRONG_USAGE
from gwnet.network import Network, init

from ..helpers import fetch_verdicts

FIRST = dt.datetime(2026, 3, 20, 8, 0, tzinfo=dt.UTC)
LATER = dt.datetime(2026, 3, 27, 8, 0, tzinfo=dt.UTC)

TABLES = {
    "sites": "site,crs,vertical_datum,length_unit,time_zone\nMM,EPSG:25832,local,m,UTC+01:00\n",
    "aquifers": "aquifer,confinement\nupper,unconfined\n",
    "wells": "site,well,easting,northing,aquifer,total_depth\n"
    "MM,MW-1,451200,5400100,upper,30\nMM,MW-2,451300,5400100,upper,20\n",
    "measuring_points": "site,well,valid_from,elevation,height_above_ground\n"
    "MM,MW-1,2020-01-01,101.250,0.5\nMM,MW-2,2020-01-01,100,0.5\n",
    "rounds": "site,round,starts_on,ends_on,wells\nMM,2026-Q1,2026-03-10,2026-03-10,MW-1;MW-2\n"
    "MM,2025-Q4,2025-12-09,2025-12-09,MW-1\n",
    "level_events": "site,well,date,time,round,status,depth_to_water,depth_to_water_2\n"
    "MM,MW-1,2025-12-09,09:15,2025-Q4,static,3.474,3.574\n"
    "MM,MW-1,2026-03-10,09:15,2026-Q1,static,34.74,34.74\n",
}


def write(folder, **more):
    for name, text in {**TABLES, **more}.items():
        (folder / f"{name}.csv").write_text(text)


@pytest.fixture
def database(tmp_path, gwnet_here):
    folder = tmp_path / "tables"
    folder.mkdir()
    write(folder)
    assert gwnet_here("init").code == DONE
    assert gwnet_here("load", folder, "--by", "Ana").code == DONE
    return gwnet_here


def verdicts(path="gwnet.sqlite"):
    with Network(path) as net, net.store.reading() as connection:
        return fetch_verdicts(connection)


def test_findings_are_printed_and_recorded(database):
    ran = database("check", "--by", "Ben")
    assert ran.code == DONE_WITH_FINDINGS
    assert "The repeats differ by 0.100 m; the site allows 0.006 m." in ran.out
    assert "deeper than the bottom" in ran.out
    assert "no reading and no reason" in ran.out
    assert "2 recorded, 1 on record already, 0 no longer found." in ran.err
    assert set(verdicts()["rule"]) == {"repeats disagree", "deeper than the bottom"}


def test_a_second_run_adds_nothing(database):
    database("check", "--by", "Ben")
    before = verdicts()
    ran = database("check", "--by", "Cleo")
    assert "0 recorded, 3 on record already, 0 no longer found." in ran.err
    assert verdicts().equals(before)


def test_a_dry_run_records_nothing(database):
    before = verdicts()
    ran = database("check", "--dry-run")
    assert ran.code == DONE_WITH_FINDINGS
    assert "(state 1)" in ran.err
    assert verdicts().equals(before)


def test_a_check_of_an_earlier_state_records_nothing(database):
    before = verdicts()
    ran = database("check", "--known-on", "2020-01-01T00:00Z")
    assert (ran.code, ran.err.splitlines()[-1]) == (DONE, "No findings.")
    assert "before state 1" in ran.err
    assert verdicts().equals(before)


def test_a_round_alone(database):
    ran = database("check", "--round", "2026-Q1", "--format", "csv", "--by", "Ben")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert [(row["well"], row["rule"]) for row in rows] == [
        ("MW-1", "deeper than the bottom"),
        ("MW-2", "no reading and no reason"),
    ]
    assert set(verdicts()["rule"]) == {"repeats disagree", "deeper than the bottom"}


def test_json_gives_the_limits(database):
    ran = database("check", "--dry-run", "--format", "json")
    rows = {row["rule"]: row for row in json.loads(ran.out)}
    assert json.loads(rows["repeats disagree"]["limits"]) == {"spread_m": 0.1, "tolerance_m": 0.006}


@pytest.mark.slow
def test_a_mended_level_retires_its_verdict_and_nothing_is_lost(database, tmp_path):
    database("check", "--by", "Ben")
    fixed = TABLES["level_events"].replace("34.74,34.74", "3.474,3.474")
    (tmp_path / "level_events.csv").write_text(fixed)
    assert database("load", "level_events.csv", "--correct", "--reason", "Misread", "--by", "Ana").code == DONE
    ran = database("check", "--by", "Ben")
    assert "0 recorded, 2 on record already, 1 no longer found." in ran.err
    assert set(verdicts()["rule"]) == {"repeats disagree"}
    with Network("gwnet.sqlite") as net, net.store.reading() as connection:
        told = connection.exec_driver_sql("SELECT rule, retired_by, retired_reason FROM verdict ORDER BY id").all()
    assert ("deeper than the bottom", "Ben", "no longer found") in told


def test_no_findings_is_done(tmp_path, gwnet_here):
    folder = tmp_path / "tables"
    folder.mkdir()
    sound = "site,well,date,time,status,depth_to_water\nMM,MW-1,2026-03-10,09:15,static,3.474\n"
    write(folder, level_events=sound, rounds="site,round,starts_on,wells\nMM,R,2026-03-10,MW-1\n")
    (folder / "rounds.csv").unlink()
    gwnet_here("init")
    assert gwnet_here("load", folder, "--by", "Ana").code == DONE
    ran = gwnet_here("check", "--by", "Ana")
    assert ran.code == DONE
    assert ran.err == "No findings.\n0 recorded, 0 on record already, 0 no longer found.\n"


def test_nobody_checks_nothing(database):
    ran = database("check", "--by", " ")
    assert ran.code == WRONG_USAGE
    assert "--by" in ran.err


def test_an_unknown_round_is_refused(database):
    ran = database("check", "--round", "2026-Q2")
    assert ran.code == STOPPED
    assert "2026-Q1" in ran.err


def test_verdicts_on_either_database(store_url, tmp_path):
    """The same findings, recorded, kept and retired on SQLite and PostgreSQL."""
    folder = tmp_path / "tables"
    folder.mkdir()
    write(folder)
    init(store_url)
    with Network(store_url) as net:
        net.load([folder], by="Ana", now_utc=FIRST)
        first = net.checks.record(by="Ben", now_utc=FIRST).stored
        second = net.checks.record(by="Ben", now_utc=FIRST).stored
        assert (first.added, first.kept, first.retired) == (2, 1, 0)
        assert (second.added, second.kept, second.retired) == (0, 3, 0)
        fixed = TABLES["rounds"].replace("MW-1;MW-2", "MW-1")
        (folder / "rounds.csv").write_text(fixed)
        net.load([folder / "rounds.csv"], by="Ana", now_utc=LATER, correct=True, reason="Never planned")
        third = net.checks.record(by="Ben", now_utc=LATER).stored
        assert (third.added, third.kept, third.retired) == (0, 2, 1)
        assert "no reading and no reason" in set(net.checks(known_on=FIRST)["rule"])


def test_checks_of_one_site_leave_verdicts_of_others_alone(database, tmp_path):
    other = {name: text.replace("MM,", "NN,") for name, text in TABLES.items() if name != "aquifers"}
    folder = tmp_path / "other"
    folder.mkdir()
    for name, text in other.items():
        (folder / f"{name}.csv").write_text(text)
    assert database("load", folder, "--by", "Ana").code == DONE
    database("check", "--by", "Ben")
    ran = database("check", "--site", "NN", "--by", "Ben")
    assert "0 recorded, 3 on record already, 0 no longer found." in ran.err
    assert len(verdicts()) == 4


@pytest.mark.slow
def test_another_severity_is_recorded_anew(database):
    with Network("gwnet.sqlite") as net:
        found = net.checks.record(by="Ben").findings
        from gwnet.analysis.checks.quality import record_findings
        from gwnet.store.snapshot import Snapshot

        milder = found.assign(severity=found["severity"].where(found["rule"] != "deeper than the bottom", "note"))
        with net.store.writing("check", "Ben") as connection:
            stored = record_findings(Snapshot(connection), milder, by="Ben")
    assert (stored.added, stored.kept, stored.retired) == (1, 2, 1)
    table = verdicts().set_index("rule")
    assert table.loc["deeper than the bottom", "severity"] == "note"


def test_verdicts_of_other_rules_are_left_alone(database):
    with Network("gwnet.sqlite") as net, net.store.altering() as connection:
        connection.exec_driver_sql(
            "INSERT INTO verdict (level_event_id, rule, severity, limits, message, recorded_at_utc, recorded_by) "
            "VALUES (1, 'a rule of somebody else', 'note', '{}', 'Something.', '2026-01-01 00:00:00.000000', 'Ana')"
        )
    database("check", "--by", "Ben")
    assert "a rule of somebody else" in set(verdicts()["rule"])
