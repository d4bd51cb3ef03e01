"""A page of examples as somebody would try them in a notebook; each cell shows what it returns."""

import datetime as dt

import matplotlib.figure
import pandas as pd
import pytest

import gwnet
from gwnet.errors import NotFoundError, SettingsError
from gwnet.network.base import Group

LAST = "2026-02-17"


@pytest.fixture(scope="module")
def net(demo_record):
    with gwnet.open(demo_record) as record:
        yield record


def cells(net):
    """Return what each cell of the notebook ends with."""
    trends = net.trends(["W-03", "W-14"])
    rounds = net.gradients.by_round("upper", start="2025-01-01")
    pairs = net.gradients.vertical(start="2025-06-01")
    drawn = net.map("upper", LAST)
    monthly = net.levels.series("N3-U", loggers="daily").resample("MS").median()
    wide = net.levels(aquifer="upper").pivot_table(index="round", columns="well", values="water_elevation_m")
    return {
        "record": net,
        "wells": net.wells(),
        "levels": net.levels("W-14", start="2025-01-01"),
        "monthly": monthly,
        "wide": wide,
        "explained": net.levels.explain("W-14", "2025-11-18"),
        "trends": trends,
        "pooled": net.trends.pooled(),
        "steps": net.trends.steps("W-14"),
        "thresholds": net.trends.thresholds(),
        "trend figure": net.trends.figure("W-14"),
        "seasons": net.seasons("W-14", least_years=5),
        "summary": net.seasons.summary("W-14"),
        "season figure": net.seasons.figure("W-14"),
        "decomposition": net.seasons.decomposition("W-14"),
        "map": drawn,
        "rounds": rounds,
        "pairs": pairs,
        "plane": net.gradients(["W-01", "W-05", "W-07"], LAST).summary(),
        "hydrograph": net.hydrograph("W-14", start="2024-01-01"),
        "coverage": net.loggers.coverage(),
        "status": net.loggers.status(),
        "findings": net.checks(round="2026-Q1"),
        "due": net.rounds.due(on=dt.date(2026, 5, 1)),
        "queue": net.review.queue().rounds,
        "issues": net.report.issues(),
        "history": net.wells.history("L-02"),
        "effects": net.levels.effects("L-02"),
    }


@pytest.fixture(scope="module")
def notebook(net):
    return cells(net)


@pytest.mark.slow
def test_each_cell_returns_what_pandas_matplotlib_or_a_notebook_can_show(notebook):
    for name, value in notebook.items():
        shown = isinstance(value, pd.DataFrame | pd.Series | matplotlib.figure.Figure | Group | list)
        assert shown or hasattr(value, "_repr_html_"), name


def test_the_record_says_what_it_holds_and_each_group_what_it_offers(net):
    text = repr(net)
    assert "ORLEVA" in text
    assert "27" in text
    assert "2018-02-20 to 2026-02-26" in text
    assert "2026-03-09" in text
    assert "net.trends.pooled(…)" in repr(net.trends)
    assert repr(net.trends).startswith("net.trends(…)")
    assert "net.review(…)" not in repr(net.review)
    # a group in two modules lists the methods of both, each once
    assert repr(net.loggers).count("net.loggers.heads(…)") == repr(net.loggers).count("net.loggers.inbox(…)") == 1


def test_the_password_of_a_server_is_not_printed(postgres_url):
    from gwnet import network

    network.init(postgres_url)
    address = postgres_url.replace("postgres@", "postgres:secret@", 1)
    with gwnet.open(address) as record:
        assert "levels  0" in repr(record)
        assert "secret" not in repr(record)


def test_levels_of_a_well_are_a_series_in_the_zone_of_the_site(net, notebook):
    levels = net.levels("N3-U", loggers="daily")
    usable = levels[levels["usable"] & levels["water_elevation_m"].notna()]
    series = net.levels.series("N3-U", loggers="daily")
    assert series.index.name == "measured_at_local"
    assert series.index.tz is not None
    assert series.index.strftime("%Y-%m-%d").tolist() == usable["day"].dt.strftime("%Y-%m-%d").tolist()
    assert series.tolist() == usable["water_elevation_m"].tolist()
    january = series[series.index.strftime("%Y-%m") == "2026-01"]
    assert notebook["monthly"]["2026-01"].iloc[0] == january.median()
    with pytest.raises(SettingsError, match="no column of numbers 'observer'"):
        net.levels.series("N3-U", column="observer")


@pytest.mark.slow
def test_text_is_as_good_as_a_date_a_time_and_a_list(net):
    known_on = dt.datetime(2026, 3, 5, tzinfo=dt.UTC)
    for first, second in (
        (net.levels("L-02"), net.levels(["L-02"])),
        (net.levels("L-02", start="2025-01-01"), net.levels("L-02", start=dt.date(2025, 1, 1))),
        (net.levels("L-02", known_on="2026-03-05T00:00Z"), net.levels("L-02", known_on=known_on)),
    ):
        pd.testing.assert_frame_equal(first, second)
    before = net.levels("L-02", known_on=known_on)["water_elevation_m"]
    assert (before != net.levels("L-02")["water_elevation_m"]).any()
    for wrong in ("2026-03-05", "soon", "2026-03-05T00:00"):
        with pytest.raises(SettingsError):
            net.levels(known_on=wrong)


@pytest.mark.slow
def test_a_product_has_a_table_figures_and_files(notebook, tmp_path):
    for name in ("trend figure", "season figure", "decomposition", "rounds", "pairs"):
        product = notebook[name]
        (table,) = product.write(tmp_path / f"{name}.csv")
        assert len(pd.read_csv(table)) == len(product.table)
        (picture,) = product.write(tmp_path / f"{name}.png")
        assert picture.read_bytes().startswith(b"\x89PNG")
        html = product._repr_html_()
        assert html.startswith("<img")
        assert str(product.table.columns[0]) in html
    assert {file.name for file in notebook["map"].write(tmp_path / "map")} == {"map.pdf", "map.png", "map.gpkg"}
    assert set(notebook["map"].table["well"]) >= {"W-14", "L-02"}


@pytest.mark.slow
def test_the_same_question_has_the_same_parameters(net):
    import inspect

    for other in (net.trends.pooled, net.trends.steps, net.trends.thresholds):
        assert [*inspect.signature(other).parameters] == [*inspect.signature(net.trends).parameters]
    with pytest.raises(TypeError, match="colour"):
        net.trends.pooled(colour="red")
    assert net.trends.pooled(aquifer="upper", unit="ft").filter(like="slope_ft").shape[1] == 1


def test_codes_that_are_not_on_record_are_refused_with_the_nearest(net):
    for ask in (net.levels, net.trends, net.trends.steps, net.seasons.summary, net.loggers.heads, net.hydrograph):
        with pytest.raises(NotFoundError, match="no well 'W-114'"):
            ask(["W-114"])


def test_nothing_is_hidden_in_the_attributes_of_a_frame(notebook):
    for name, value in notebook.items():
        assert getattr(value, "attrs", {}) == {}, name


def test_wells_come_as_points_in_the_system_of_their_site(net):
    table = net.wells(geo=True)
    assert table.crs.to_epsg() == 25832
    assert table["well"].tolist() == net.wells()["well"].tolist()
    assert table.geometry.x.tolist() == table["easting"].tolist()
    assert table.geometry.y.tolist() == table["northing"].tolist()
    assert "geometry" not in net.wells()


def test_no_column_of_a_frame_mixes_kinds_of_values(notebook):
    """Text is never missing, numbers are NaN, instants NaT, dates None."""
    mixed = {}
    for name, value in notebook.items():
        frame = value if isinstance(value, pd.DataFrame) else getattr(value, "table", None)
        for column in frame.columns if isinstance(frame, pd.DataFrame) else ():
            cells = frame[column]
            kinds = {type(cell).__name__ for cell in cells[cells.notna()]} if cells.dtype == object else set()
            if len(kinds) > 1 or (kinds == {"str"} and cells.isna().any()):
                mixed[name, column] = kinds
    assert mixed == {}


@pytest.mark.slow
def test_figures_and_products_show_in_a_notebook(notebook):
    assert notebook["hydrograph"]._repr_png_().startswith(b"\x89PNG")
    for name in ("map", "rounds", "pairs", "trend figure", "season figure"):
        assert 'src="data:image/png;base64,' in notebook[name]._repr_html_(), name
