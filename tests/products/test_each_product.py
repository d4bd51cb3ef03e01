"""What each product says of the demo record and of records that lack something."""

import datetime as dt

import pandas as pd
import pytest

import gwnet
from gwnet.analysis.series.decomposition import well_decomposition
from gwnet.figures.maps.context import MapContext
from gwnet.hydro.gradients.seepage import Interval
from gwnet.products import (
    collect,
    comparisons,
    extras,
    gradients,
    issues,
    maps,
    reports,
    rounds,
    seasons,
    seepage,
    trends,
    worth,
)
from gwnet.products.logger_lines import ReportLoggers
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.definition.period import parse_period
from gwnet.store.snapshot import Snapshot

from ..analysis.record import Record

DAY = "2026-02-17"


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as opened:
        yield opened


@pytest.fixture(scope="module")
def record(net):
    with net.store.reading() as connection:
        yield Snapshot(connection).of_site()


def test_a_context_names_the_aquifer_and_the_state_of_the_record(record):
    context = maps.map_context(record, "upper")
    assert isinstance(context, MapContext)
    assert context.named("upper").endswith("(upper)")
    assert context.known_on == record.state
    assert maps.map_context(record).aquifer_name == ""


@pytest.mark.slow
def test_a_gradient_has_its_levels_counted_by_kind(net):
    found = net.gradients.by_round("upper", dates=[DAY])
    assert isinstance(found, gradients.RoundGradients)
    (row,) = found.table.to_dict("records")
    assert row["levels"] > row["loggers"] + row["gauges"]
    assert row["loggers"] > 0
    summary = net.map("upper", DAY).summary().iloc[0]
    assert (summary["levels"], summary["gradient"]) == (row["levels"], row["gradient"])


def test_named_wells_give_heads_and_a_velocity(net):
    between = net.gradients(["W-01", "W-04", "W-05"], DAY, conductivity="10 m/d", porosity="0.2")
    assert isinstance(between, maps.WellGradient)
    row = between.summary().iloc[0]
    assert row["heads"].count(" m") == 3
    assert row["velocity_from"] == seepage.seepage_of("10 m/d", "0.2").text
    none = seepage.Seepage(Interval(1.0, 1.0, "1"), Interval(0.2, 0.2, "0.2")).row(None)
    assert pd.isna(none["velocity_m_per_day"])


@pytest.mark.slow
def test_comparisons_and_data_worth_are_tables_of_their_sets(net):
    assert isinstance(net.map.pair("upper", ("2025-08-19", DAY)), comparisons.MapPair)
    ranked = net.map.data_worth("upper", "2025-08-19", candidates=1)
    assert isinstance(ranked, worth.NetworkWorth)
    assert ranked.places()["place"].tolist() == ["A"]


@pytest.mark.slow
def test_figures_are_drawn_from_a_snapshot(record, net):
    context = maps.map_context(record)
    (page,) = seasons.envelope_figures(context, net.levels(["W-04"]), record.wells.query("well == 'W-04'"))
    assert page.axes
    decomposed = seasons.Decomposition(well_decomposition(net.levels(["W-04"])), context)
    assert decomposed.figure().axes
    figures = net.trends.figure(["W-04", "W-14"])
    assert isinstance(figures, trends.TrendFigures)
    assert figures.pages() == 1


def test_what_is_due_is_listed_for_every_site(record):
    table = rounds.due_at_sites(record, dt.date(2026, 4, 1), now_utc=dt.datetime(2026, 4, 1, tzinfo=dt.UTC))
    assert set(table["site"]) == {record.site}
    assert (table["due_on"].dropna() <= dt.date(2026, 4, 1)).all()


@pytest.mark.slow
def test_a_report_is_collected_once_and_differences_need_no_second_look(record):
    definition, period = load_definition("round"), parse_period("2026-Q1")
    data = collect.collect(record, definition, period)
    reduced = collect.levels(record)
    pd.testing.assert_frame_equal(data.levels[reduced.columns], reduced)
    assert issues.with_earlier_issues(record, definition, data) is data
    empty = extras.gather_extras(record, definition, period, data, ReportLoggers({}, [], None))
    assert empty.frame("loggers").empty


@pytest.mark.slow
def test_a_report_without_rounds_takes_the_day_on_which_most_wells_were_read_and_says_so(tmp_path):
    made = Record(tmp_path / "r.sqlite")
    for number, (code, place) in enumerate({"A": (0, 0), "B": (400, 50), "C": (100, 500)}.items()):
        at = {"easting": 500_000.0 + place[0], "northing": 5_400_000.0 + place[1]}
        made.well(code, point=(50.0, 0.5), screen=(8, 12), ground_elevation_m=49.5, **at)
        made.event(code, f"2026-02-10T0{number}:10", [("depth_to_water", 5.0 + 0.1 * number)])
    made.store.close()
    own = tmp_path / "own.toml"
    own.write_text('title = "No rounds"\nsections = ["summary", "maps", "gradients", "changes"]\nweb_page = false\n')
    with gwnet.open(tmp_path / "r.sqlite") as net:
        pdf, *_ = reports.make_report(net.store, own, "2026-Q1", tmp_path / "out")
    from pypdf import PdfReader

    text = " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())
    assert "The levels of 2026-02-10 stand for a gauging round: day on which most wells were read (3 wells)." in text
    assert "Horizontal gradients upper: flow towards" in text
