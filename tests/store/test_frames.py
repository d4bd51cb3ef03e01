"""Every frame of the record has the declared columns with the declared types, on an empty record and on a filled one."""

import datetime as dt
import inspect

import numpy as np
import pandas as pd
import pytest

from gwnet.store.contract import BY_NAME, TABLES
from gwnet.store.fetch import history, levels, mappings, programme, pumping, registry, reviews, samples, states, visits
from gwnet.store.fetch.frames import DTYPES, FRAMES
from gwnet.store.session import open_store

WINTER = dt.datetime(2026, 2, 1, tzinfo=dt.UTC)

#: How each frame is fetched.
FETCH = {
    **{name: getattr(registry, name) for name in ("sites", "aquifers", "wells", "construction", "measuring_points")},
    **{name: getattr(registry, name) for name in ("sources", "register_entries")},
    **{
        name: getattr(programme, name)
        for name in ("instruments", "tape_checks", "rounds", "thresholds", "stages", "context")
    },
    **{name: getattr(levels, name) for name in ("level_records", "reviews")},
    **{name: getattr(samples, name) for name in ("series", "latest", "downloads", "conflicts", "corrections")},
    **{name: getattr(pumping, name) for name in ("pumping_tests", "pumping_rates", "pumping_readings")},
    "deployments": samples.deployments,
    "deployments_at": lambda connection: visits.deployments_at(connection, samples.deployments(connection), WINTER),
    "readings": lambda connection: levels.readings(
        connection, levels.level_records(connection)["record_id"].to_numpy(dtype=np.int64)
    ),
    "findings": reviews.findings_with_decisions,
    "live_findings": lambda connection: reviews.live_findings(connection, ["repeats disagree"]),
    "changes": history.changes,
    "states": states.states,
    "mappings": mappings.mappings,
    "happenings": lambda connection: history.happenings(connection, 1),
}

#: Frames that the demo network leaves empty.
EMPTY_IN_DEMO = {"reviews", "conflicts", "register_entries", "mappings"}


def check(table, name):
    declared = FRAMES[name]
    assert list(table.columns) == [column.name for column in declared], name
    assert {column: str(kind) for column, kind in table.dtypes.items()} == {c.name: c.dtype for c in declared}
    for column in declared:
        values = table[column.name]
        if column.kind == "text":
            assert values.map(type).isin([str]).all(), column
        elif column.kind == "date":
            assert values.map(lambda value: value is None or type(value) is dt.date).all(), column
        elif column.kind == "maybe":
            assert values.map(lambda value: value is None or isinstance(value, bool)).all(), column


def test_every_declared_frame_is_fetched():
    assert set(FETCH) == set(FRAMES)


def test_an_empty_record_gives_the_declared_columns(store):
    with store.reading() as connection:
        for name, fetch in FETCH.items():
            table = fetch(connection)
            assert len(table) == 0, name
            check(table, name)


@pytest.mark.slow
@pytest.mark.parametrize("name", FRAMES)
def test_the_demo_record_gives_the_declared_columns(name, demo_record):
    store = open_store(demo_record)
    with store.reading() as connection:
        table = FETCH[name](connection)
    store.close()
    assert len(table) > 0 or name in EMPTY_IN_DEMO
    check(table, name)


@pytest.mark.parametrize("name", [table.name for table in TABLES if table.name in FRAMES])
def test_every_declared_column_of_a_table_is_in_its_frame(name):
    spread = {"measured_at", "date", "time", "water_elevation", "depth_to_water", "depth_below_ground", "change"}
    own = {
        c.name if c.of else c.frame_name
        for c in BY_NAME[name].columns
        if (name != "thresholds" or c.name not in spread) and (not c.converts_to or c.reading)
    }
    if name == "stages":
        own -= {"measured_at_utc", "date", "time"}
        own |= {"measured_at_utc", "time_known"}
    if name == "pumping_rates":
        own = own - {"from_min"} | {"from_utc", "from_elapsed_min"}
    if name == "pumping_readings":
        own -= {"date", "time"}
    assert own <= {column.name for column in FRAMES[name]}


def test_units_follow_from_the_names():
    units = {column.name: column.unit for column in (*FRAMES["construction"], *FRAMES["level_records"])}
    assert units["top_depth_m"] == "m"
    assert units["diameter_mm"] == "mm"
    assert units["discharge_l_s"] == "L/s"
    assert units["measured_at_utc"] == "UTC"
    assert units["local_offset_minutes"] == "min"
    assert units["part"] == ""


def test_every_kind_is_a_type_of_pandas():
    for kind in DTYPES.values():
        assert pd.Series([], dtype=kind).dtype == kind


@pytest.mark.parametrize("module", [levels, programme, pumping, registry, reviews, samples, visits])
def test_every_function_that_gives_a_frame_names_its_declaration(module):
    for name, function in vars(module).items():
        if not inspect.isfunction(function) or function.__module__ != module.__name__ or name.startswith("_"):
            continue
        if function.__annotations__["return"] == "pd.DataFrame":
            text = inspect.getdoc(function)
            assert any(f"``{frame}`` in `gwnet.store.fetch.frames.FRAMES`" in text for frame in FRAMES), name
