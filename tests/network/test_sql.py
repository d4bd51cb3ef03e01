"""Views and reduced levels as other programs read them: the queries of the page `sql`, row by row on both databases."""

import re
import sqlite3

import numpy as np
import pandas as pd
import pytest
from sqlalchemy.engine import make_url

import gwnet
from gwnet.network import Network, init
from gwnet.resources import demo_folder, docs_folder
from gwnet.store.views import views

QUERIES = re.findall(r"```sql\n(.*?)```", (docs_folder() / "sql.md").read_text(encoding="utf-8"), re.DOTALL)
WHERE = ("sqlite", pytest.param("postgresql", marks=pytest.mark.postgres))


@pytest.fixture(scope="module", params=WHERE)
def address(request, tmp_path_factory):
    """Give the address of a record with the tables of the demo network, on each database."""
    if request.param == "sqlite":
        url = str(tmp_path_factory.mktemp("sql") / "record.sqlite")
    else:
        url = request.getfixturevalue("postgres_module_url")
    url = url if isinstance(url, str) else url.render_as_string(hide_password=False)
    init(url)
    with Network(url) as net:
        tables = sorted(file for file in demo_folder().iterdir() if file.suffix in {".csv", ".xlsx"})
        net.load(tables, by="test")
        net.checks.record(by="test")
        net.levels.refresh()
    return url


def ask(address, query):
    """Return the rows of a query as the database's own driver gives them."""
    if "://" not in address:
        with sqlite3.connect(address) as connection:
            return pd.read_sql_query(query, connection)
    import psycopg

    plain = make_url(address).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(plain) as connection:
        cursor = connection.execute(query)
        return pd.DataFrame(cursor.fetchall(), columns=[column.name for column in cursor.description])


def test_the_page_has_ten_queries():
    assert len(QUERIES) == 10


@pytest.mark.slow
@pytest.mark.parametrize("number", range(10))
def test_every_query_of_the_page_runs(address, number):
    rows = ask(address, QUERIES[number])
    assert len(rows) or "valid_until_utc" in QUERIES[number] or "NOT IN" in QUERIES[number]


def test_reduced_levels_are_those_of_the_program_row_by_row(address):
    with gwnet.open(address) as net:
        wanted, state = net.levels().sort_values("event_id"), net.state()
    wanted = wanted[wanted["status"] != "pumping test"]  # readings of tests are no level events
    rows = ask(address, "SELECT * FROM reduced_level ORDER BY event_id")
    assert rows["event_id"].tolist() == wanted["event_id"].tolist()
    for column in ("water_elevation_m", "uncertainty_m", "bound_elevation_m", "depth_to_water_m"):
        np.testing.assert_allclose(rows[column].astype(float), wanted[column].astype(float), rtol=0, atol=1e-12)
    for column in ("well", "aquifer", "status", "bound", "unusable_reason", "review"):
        assert rows[column].tolist() == wanted[column].tolist()
    assert rows["usable"].astype(bool).tolist() == wanted["usable"].tolist()
    assert pd.to_datetime(rows["measured_at_utc"], utc=True).tolist() == wanted["measured_at_utc"].tolist()
    assert rows["day"].astype(str).tolist() == wanted["day"].dt.strftime("%Y-%m-%d").tolist()
    assert set(rows["state_serial"]) == {state.serial}


def test_readings_are_in_metres_whatever_they_were_read_in(address):
    """A centimetre is 0.01 m, a foot 0.3048 m, both exactly (85 FR 62698, 2020)."""
    rows = ask(address, "SELECT * FROM view_reading WHERE unit <> 'm'")
    factors = {"cm": 0.01, "ft": 0.3048}
    assert set(rows["unit"]) <= set(factors)
    assert len(rows)
    wanted = rows["as_written"].str.replace(",", ".").astype(float) * rows["unit"].map(factors)
    np.testing.assert_allclose(rows["value_m"].astype(float), wanted, rtol=1e-12)


def test_views_have_the_rows_that_the_program_lists(address):
    with gwnet.open(address) as net:
        for name in ("wells", "measuring-points", "construction", "thresholds", "instruments", "rounds", "tape-checks"):
            view = "view_" + name.replace("-", "_").removesuffix("s")
            assert len(ask(address, f"SELECT * FROM {view}")) == len(net.tables(name))


def test_every_view_is_there(address):
    where = "sqlite_master WHERE type = 'view'" if "://" not in address else "pg_views WHERE schemaname = 'public'"
    column = "name" if "://" not in address else "viewname"
    assert set(views()) <= set(ask(address, f"SELECT {column} AS name FROM {where}")["name"])


@pytest.mark.slow
def test_a_correction_and_a_review_leave_no_old_level_behind(address, tmp_path):
    """What changes a level empties the table in its own transaction; filled again it holds the new one."""
    well = "W-01"
    with Network(address) as net:
        before = net.levels([well])
        net.levels.refresh()
        event = before[before["usable"] & (before["round"] == "2025-Q3")].iloc[-1]
        file = tmp_path / "level_events_corrected.csv"
        row = f"ORLEVA,{well},{event['measured_at'][:10]},{event['measured_at'][11:16]},static,{event['round']},6.700,6.700"
        file.write_text(f"site,well,date,time,status,round,depth_to_water,depth_to_water_2\n{row}\n", encoding="utf-8")
        net.load([file], by="test", correct=True, reason="wrong depth")
        assert ask(address, "SELECT * FROM reduced_level").empty
        after = net.levels([well]).set_index("event_id").loc[event["event_id"]]
        assert net.levels.refresh() > 0
        new = ask(address, f"SELECT * FROM reduced_level WHERE event_id = {event['event_id']}")
        assert float(new["water_elevation_m"].iloc[0]) == pytest.approx(after["water_elevation_m"], abs=1e-12)
        assert after["water_elevation_m"] != event["water_elevation_m"]
        assert net.doctor().findings == ()


def test_loading_nothing_new_keeps_the_rows(address):
    with Network(address) as net:
        count = net.levels.refresh()
        net.load([demo_folder() / "wells.csv"], by="test")
    assert len(ask(address, "SELECT * FROM reduced_level")) == count


def test_sources_come_back_as_they_were(address, tmp_path):
    with Network(address) as net:
        files = net.sources()
        number = str(files.loc[files["name"] == "wells.csv", "source_file_id"].iloc[0])
        written = net.sources.get(number, tmp_path)
        assert written.read_bytes() == (demo_folder() / "wells.csv").read_bytes()
        assert (
            net.sources.get("context.csv", tmp_path / "c.csv").read_bytes()
            == (demo_folder() / "context.csv").read_bytes()
        )
        with pytest.raises(gwnet.errors.NotFoundError, match="No file"):
            net.sources.get("no.csv", tmp_path)
        with pytest.raises(gwnet.errors.SettingsError, match="no table 'sauce'"):
            net.tables("sauce")


def test_a_reduced_level_altered_around_the_program_is_found(address):
    with Network(address) as net:
        net.levels.refresh()
        assert net.doctor().findings == ()
        with net.store.altering() as connection:
            table = connection.exec_driver_sql
            if "://" in address:
                table("ALTER TABLE reduced_level DISABLE TRIGGER USER")
            else:
                table("DROP TRIGGER guard_reduced_level_update")
            table("UPDATE reduced_level SET water_elevation_m = 1.0 WHERE event_id = 5")
        messages = [finding.message for finding in net.doctor().findings]
    assert "The reduced level of event 5 is not as it was worked out." in messages
