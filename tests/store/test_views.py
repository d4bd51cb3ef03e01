"""Views have the rows that the program fetches, and reduced levels go with what they rest on; constructed record."""

import datetime as dt

import pandas as pd
import pytest
from sqlalchemy import text

from gwnet.store.fetch import levels, reviews
from gwnet.store.fetch.rows import fetch_rows
from gwnet.store.models.reduced import ReducedLevel
from gwnet.store.save.reduced import NO_LEVEL_RESTS_ON, clear_reduced_levels, row_digest, store_reduced_levels
from gwnet.store.views import PREFIX, describe_views, drop_views, read_view, renew_views, views

OF_TABLES = {
    "view_site": ("sites", "site"),
    "view_aquifer": ("aquifers", "aquifer"),
    "view_construction": ("construction", "site well top_depth_m part"),
    "view_measuring_point": ("measuring_points", "site well access valid_from_utc"),
    "view_threshold": ("thresholds", "site well threshold valid_from_utc"),
}


def rows_of(connection, view):
    return pd.DataFrame(connection.execute(text(f"SELECT * FROM {view}")).mappings().all())


@pytest.mark.parametrize("view", OF_TABLES)
def test_a_view_of_a_table_has_the_rows_and_columns_of_its_frame(filled, view):
    table, order = OF_TABLES[view]
    with filled.reading() as connection:
        rows, frame = rows_of(connection, view), fetch_rows(connection, table, order=order)
    assert len(rows) == len(frame)
    assert set(rows) <= set(frame)
    for code in ("site", "well", "aquifer", "threshold"):
        if code in rows:
            assert sorted(rows[code].fillna("")) == sorted(frame[code])


def test_views_of_levels_and_findings_have_the_rows_that_are_fetched(filled):
    with filled.reading() as connection:
        assert len(rows_of(connection, "view_level_event")) == len(levels.level_records(connection))
        assert len(rows_of(connection, "view_finding")) == len(reviews.findings_with_decisions(connection))
        assert len(rows_of(connection, "view_reading")) > 0


def test_views_are_made_anew_and_described(filled):
    with filled.altering() as connection:
        drop_views(connection)
        renew_views(connection)
        for name in views():
            assert name.startswith(PREFIX)
            rows_of(connection, name)
    assert all(f"| `{name}` |" in describe_views() for name in views())


def reduced(connection):
    event = connection.execute(text("SELECT min(id) FROM level_event")).scalar_one()
    now = dt.datetime(2026, 3, 1, 12, 0, 0, 250, tzinfo=dt.UTC)
    texts = dict.fromkeys("site well aquifer access status bound unusable_reason review finding version".split(), "")
    numbers = {"depth_to_water_m": 1.5, "water_elevation_m": 50.25, "uncertainty_m": 0.1, "bound_elevation_m": None}
    times = dict.fromkeys(("measured_at_utc", "known_on_utc", "computed_at_utc"), now)
    return {"event_id": event, **texts, **numbers, **times, "day": now.date(), "usable": True, "state_serial": 1}


def test_reduced_levels_are_replaced_cleared_and_carry_their_hash(filled):
    with filled.altering() as connection:
        row = reduced(connection)
        store_reduced_levels(connection, [row])
        store_reduced_levels(connection, [row])
        kept = connection.execute(ReducedLevel.__table__.select()).mappings().all()
        assert len(kept) == 1
        assert kept[0]["row_sha256"] == row_digest(dict(kept[0])) == row_digest(row)
        assert row_digest({**row, "water_elevation_m": 50.26}) != row_digest(row)
        clear_reduced_levels(connection)
        assert connection.execute(ReducedLevel.__table__.select()).first() is None
    assert "level_record" not in NO_LEVEL_RESTS_ON


@pytest.mark.slow
@pytest.mark.parametrize("view", list(views()))
def test_a_view_is_read_with_types_whichever_database_it_is_in(filled, view):
    with filled.reading() as connection:
        rows, read = rows_of(connection, view), read_view(connection, view)
    assert len(rows) == len(read) > 0
    assert list(read) == list(rows)
    for name in read:
        if str(name).endswith("_utc"):
            assert isinstance(read[name].dtype, pd.DatetimeTZDtype), name
