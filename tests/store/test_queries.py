"""Queries that give no frame, on a record with rows in every table."""

import datetime as dt

import pandas as pd
import pytest

from gwnet.errors import NotFoundError
from gwnet.store.fetch import history, programme, registry
from gwnet.store.fetch.codes import require_code
from gwnet.store.fetch.issues import find_issue, issues
from gwnet.store.fetch.logger_history import describe_row, find_concerned, series_names
from gwnet.store.fetch.recorded_reasons import newest_edit, recorded_reasons
from gwnet.store.fetch.round_values import RoundValues, live_round, round_on_record
from gwnet.store.fetch.rows import fetch_rows
from gwnet.store.snapshot import Snapshot

from .released.rows import CORRECTED, FIRST, RECORDED


@pytest.fixture
def connection(filled):
    with filled.reading() as connection:
        yield connection


def test_codes_that_are_not_on_record_are_refused_with_the_nearest(connection):
    Snapshot(connection, site="S").require(wells=["MW-1"], aquifer="upper", round_code="2024-Q1")
    with pytest.raises(NotFoundError, match="no well 'MW-3'") as caught:
        Snapshot(connection).require(wells=["MW-3"])
    assert "MW-2" in caught.value.fix
    with pytest.raises(NotFoundError, match="no site 'T'"):
        Snapshot(connection, site="T").require()


def test_issued_reports_are_found_by_number_or_digest(connection):
    assert [issue.period for issue in issues(connection)] == ["2024-Q1"]
    assert find_issue(connection, "1").number == 1
    assert find_issue(connection, "222222").sha256 == "2" * 64
    assert issues(connection, before=RECORDED) == []
    with pytest.raises(NotFoundError, match="No issued report is called '22'"):
        find_issue(connection, "22")


def test_downloads_and_corrections_concern_the_well_where_the_logger_was_installed(connection):
    assert find_concerned(connection, 1) == {"download": [1, 2], "correction": [1]}
    assert find_concerned(connection, 2) == {"download": [], "correction": []}
    assert series_names(connection, {1: "L1", 2: "L2"}) == {
        1: "L1 water pressure",
        2: "L1 water pressure, segment 2",
        3: "L2 air pressure",
    }
    row = {"parameters": '{"amount_m": 0.1}', "valid_from_utc": FIRST, "valid_until_utc": None}
    assert describe_row("correction", row, lambda moment: f"{moment:%Y-%m-%d}") == "amount m 0.1, from 2024-03-01"


def test_reasons_of_what_can_move_levels_are_stated_by_subject(connection):
    reasons = recorded_reasons(connection, RECORDED)
    assert reasons[("well_record", 1)] == ["misread (Ben, 2024-04-02)"]
    assert reasons[("level_record", 2)] == ["misread (Ben, 2024-04-02)"]
    assert recorded_reasons(connection, RECORDED, RECORDED + dt.timedelta(days=1)) == {}
    assert newest_edit(connection) == CORRECTED
    assert newest_edit(connection, RECORDED) == RECORDED


def test_the_values_of_a_round_are_those_on_record(connection):
    day = dt.date(2024, 3, 1)
    assert round_on_record(connection, "S", "2024-Q1") == RoundValues(day, dt.date(2024, 3, 2), ("MW-1",))
    assert round_on_record(connection, "S", "2024-Q2") is None
    assert live_round(connection, "S", "2024-Q1")["wells"] == '["MW-1"]'


def test_rows_of_a_table_are_those_known_then_of_that_site(connection):
    earlier = fetch_rows(connection, "wells", RECORDED, order="site well")
    assert earlier["easting"].iloc[0] == 500000.0
    assert fetch_rows(connection, "wells", None, "T", order="site well").empty
    every = fetch_rows(connection, "measuring_points", order="well id", history=True)
    assert every["measuring_point_id"].tolist() == [1, 2]


def test_a_barometer_comes_first_where_wells_are_in_order(connection):
    deployments = fetch_rows(connection, "deployments", order="site well instrument")
    assert deployments["well"].tolist() == ["", "MW-1", "MW-1"]


@pytest.mark.slow
def test_what_happened_to_a_well_is_stated_in_order(connection):
    told = history.happenings(connection, 1)
    assert told["recorded_at_utc"].is_monotonic_increasing
    corrected = told[told["act"] == "corrected"]
    assert set(corrected["subject"]) == {"well", "level"}
    assert "easting" in corrected["item"].tolist()
    assert history.happenings(connection, 1, RECORDED)["act"].tolist().count("corrected") == 0


def test_a_snapshot_fetches_each_frame_once(connection):
    snapshot = Snapshot(connection)
    assert snapshot.wells is snapshot.wells
    of_site = snapshot.of_site("S")
    assert of_site.rounds["round"].tolist() == programme.rounds(connection, site="S")["round"].tolist()
    assert of_site.settings["name"] == registry.choose_site(registry.sites(connection), "S")["name"]
    with pytest.raises(NotFoundError, match="no well 'MW-7'"):
        of_site.require(wells=["MW-7"])


def test_a_code_that_is_not_on_record_is_refused_with_the_nearest():
    known = pd.Series(["MW-1", "MW-2", "P-9"])
    require_code("well", "MW-2", known)
    with pytest.raises(NotFoundError, match=r"no well 'MW-3' on record.*Did you mean MW-[12], MW-[12]\?"):
        require_code("well", "MW-3", known)
