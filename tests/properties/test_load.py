"""Properties of loading that hold for any input."""

import contextlib
import csv
import datetime as dt
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gwnet.errors import GwnetError
from gwnet.network import Network, init
from gwnet.units import metres_per

pytestmark = pytest.mark.slow

NOW = dt.datetime(2026, 4, 6, 8, 0, tzinfo=dt.UTC)
RELAXED = settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    folder = tmp_path_factory.mktemp("record")
    init(folder / "record.sqlite")
    with Network(folder / "record.sqlite") as net:
        (folder / "sites.csv").write_text(
            "site,crs,vertical_datum,length_unit,time_zone\nS,EPSG:25832,local,m,Europe/Vienna\n"
        )
        (folder / "wells.csv").write_text("site,well,easting,northing,ground_elevation\nS,MW-1,1,2,500\n")
        (folder / "measuring_points.csv").write_text(
            "site,well,valid_from,elevation,height_above_ground\nS,MW-1,1900-01-01,500.8,0.8\n"
        )
        net.load([folder / name for name in ("sites.csv", "wells.csv", "measuring_points.csv")], by="Ana", now_utc=NOW)
        yield net, folder


numbers = st.integers(0, 200_000).map(lambda n: n / 1000)
times = st.datetimes(dt.datetime(1950, 1, 1), dt.datetime(2026, 4, 1)).map(lambda t: t.replace(second=0, microsecond=0))  # noqa: DTZ001
texts = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=30).map(str.strip)
events = st.lists(
    st.tuples(times, numbers, st.sampled_from(["static", "pumping", "recovering"]), texts),
    max_size=12,
    unique_by=lambda row: row[0],
)


@RELAXED
@given(rows=events, unit=st.sampled_from(["m", "cm", "ft", "ftUS"]), delimiter=st.sampled_from([",", ";", "\t"]))
def test_what_is_written_is_read_back(network, rows, unit, delimiter):
    net, folder = network
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter)
    writer.writerow(["site", "well", "measured_at", f"depth_to_water [{unit}]", "status", "notes"])
    for when, depth, status, notes in rows:
        writer.writerow(["S", "MW-1", f"{when.isoformat(timespec='minutes')}Z", f"{depth:.3f}", status, notes])
    path = folder / "level_events.csv"
    path.write_text(stream.getvalue(), encoding="utf-8", newline="")
    net.load([path], by="Ana", now_utc=NOW, correct=True, reason="property")
    again = net.load([path], by="Ana", now_utc=NOW)
    assert not again.written
    levels = net.levels().set_index("measured_at_utc")
    for when, depth, status, notes in rows:
        level = levels.loc[when.replace(tzinfo=dt.UTC)]
        assert level["depth_to_water_m"] == pytest.approx(depth * metres_per(unit), abs=1e-9)
        assert level["water_elevation_m"] == pytest.approx(500.8 - depth * metres_per(unit), abs=1e-9)
        assert level["status"] == status
        assert level["notes"] == notes
    net.load([path], by="Ana", now_utc=NOW, withdraw=True, reason="property")
    assert net.levels().empty


names = st.sampled_from(["level_events.csv", "wells.csv", "round.xlsx", "measuring_points.tsv", "dips.txt"])


@RELAXED
@given(content=st.binary(max_size=600), name=names)
def test_any_bytes_give_a_clear_error_or_nothing(network, content, name):
    net, folder = network
    path = folder / name
    path.write_bytes(content)
    with contextlib.suppress(GwnetError):
        net.load([path], by="Ana", now_utc=NOW)
    assert net.levels().empty


cells = st.one_of(
    st.sampled_from(
        ["S", "MW-1", "2024-03-12", "09:40", "3.4", "-3.4", "static", "dry", "NaN", "", "2024-02-30", "24:00", "3,4"]
    ),
    st.text(max_size=12),
)


@RELAXED
@given(rows=st.lists(st.lists(cells, min_size=6, max_size=7), min_size=1, max_size=5))
def test_any_cells_give_rejections_or_rows_that_can_be_read(network, rows):
    net, folder = network
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(["site", "well", "date", "time", "depth_to_water", "status"])
    writer.writerows(rows)
    path = folder / "level_events.csv"
    path.write_text(stream.getvalue(), encoding="utf-8", errors="surrogatepass", newline="")
    try:
        net.load([path], by="Ana", now_utc=NOW)
    except GwnetError:
        return
    if not net.levels().empty:
        net.load([path], by="Ana", now_utc=NOW, withdraw=True, reason="property")
    assert net.levels().empty
