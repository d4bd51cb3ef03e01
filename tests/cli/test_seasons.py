"""``gwnet seasons`` and the figures of ``gwnet trend`` on the demo network's record."""

import csv
import io
import json

import pytest
from PIL import Image
from pypdf import PdfReader

import gwnet
from gwnet.analysis.series.seasons import SEASONS_COLUMNS, SUMMARY_COLUMNS
from gwnet.cli import DONE, STOPPED, WRONG_USAGE


@pytest.fixture
def demo(demo_store, gwnet_here, monkeypatch):
    """Return the function that runs the command line on a copy of the demo network's record."""
    monkeypatch.setenv("GWNET_DB", str(demo_store))
    return gwnet_here


def rows(ran):
    assert ran.code == DONE, ran.err
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.slow
def test_a_row_a_well_and_month(demo):
    found = rows(demo("seasons", "--well", "W-03", "--least-years", "8", "--format", "csv"))
    assert tuple(found[0]) == SEASONS_COLUMNS
    found = {row["month"]: row for row in found}
    assert {"2", "5", "8", "11"} <= set(found)
    february = found["2"]
    assert (february["newest"], february["newest_bound"]) == ("2026-02-17", "<=")
    assert float(february["percentile"]) == 10.0
    assert february["at_or_below"] == "minimum p10"
    assert "too few years" in found["11"]["note"]
    default = rows(demo("seasons", "--well", "W-03", "--format", "csv"))
    assert {row["percentile"] for row in default} == {""}


@pytest.mark.slow
def test_daily_means_of_loggers_take_part(demo):
    """The demo has manual readings in four months of the year and loggers in some wells."""
    months = {row["well"]: int(row["months"]) for row in rows(demo("seasons", "--summary", "--format", "csv"))}
    assert months["N1-L"] > 45
    assert months["W-12"] < 36


@pytest.mark.slow
def test_a_summary_has_a_row_for_every_well(demo, demo_store):
    found = rows(demo("seasons", "--summary", "--format", "csv"))
    assert tuple(found[0]) == SUMMARY_COLUMNS
    with gwnet.open(demo_store) as net:
        assert [row["well"] for row in found] == net.wells()["well"].tolist()
        api = net.seasons.summary(["W-12"], unit="ft")
    feet = rows(demo("seasons", "--summary", "--well", "W-12", "--unit", "ft", "--format", "csv"))[0]
    assert float(feet["newest_ft"]) == pytest.approx(api["newest_ft"].iloc[0], abs=1e-6)
    assert feet["highest_in_year"] == api["highest_in_year"].iloc[0] != ""


def test_days_of_the_year(demo):
    found = rows(demo("seasons", "--daily", "--well", "N1-L", "--least-years", "2", "--unit", "ft", "--format", "csv"))
    assert found[0]["day"] == "01-01"
    assert float(found[100]["p50_ft"]) == pytest.approx(54.4 / 0.3048, abs=3)
    assert demo("seasons", "--daily", "--summary").code == WRONG_USAGE


def test_seasons_as_json_and_as_a_table(demo):
    found = json.loads(demo("seasons", "--well", "W-01", "--format", "json").out)
    assert found[0]["percentile"] is None
    table = demo("seasons", "--well", "W-01", "--least-years", "8", "--unit", "ft")
    assert "p50 [ft]" in table.out.replace("\n", " ") or "p50" in table.out
    assert "[ft]" in table.out


@pytest.mark.slow
def test_times_aquifers_and_sites_restrict(demo):
    some = rows(demo("seasons", "--aquifer", "lower", "--to", "2021-12-31", "--format", "csv"))
    assert some
    assert {row["last"] for row in some} == {"2021"}
    assert demo("seasons", "--aquifer", "nowhere").code == STOPPED
    assert demo("seasons", "--well", "X-1").code == STOPPED
    assert rows(demo("seasons", "--approved", "--format", "csv")) == []


@pytest.mark.slow
def test_figures_of_seasons(demo, tmp_path):
    ran = demo("seasons", "--well", "W-12", "--least-years", "8", "--figure", "s.png", "--stl", "p.pdf")
    assert ran.code == DONE, ran.err
    assert "wrote s.png" in ran.err
    assert "wrote p.pdf" in ran.err
    with Image.open(tmp_path / "s.png") as picture:
        assert picture.width > 1000
    text = " ".join(PdfReader(tmp_path / "p.pdf").pages[0].extract_text().split())
    assert "W-12" in text
    assert "Record as known on" in text
    several = demo(
        "seasons", "--well", "W-12", "--well", "W-01", "--well", "L-01", "--well", "L-02", "--figure", "s.pdf"
    )
    assert several.code == DONE
    assert len(PdfReader(tmp_path / "s.pdf").pages) == 2


@pytest.mark.slow
def test_figures_that_cannot_be_drawn_leave_nothing_behind(demo, tmp_path):
    before = set(tmp_path.iterdir())
    assert demo("seasons", "--well", "W-12", "--well", "W-01", "--stl", "p.png").code == WRONG_USAGE
    dry = demo("seasons", "--well", "W-03", "--figure", "s.png", "--stl", "p.png")
    assert dry.code == STOPPED
    assert "bound" in dry.err
    assert demo("seasons", "--well", "W-12", "--figure", "s.jpg").code == STOPPED
    assert demo("seasons", "--well", "W-12", "--least-years", "1").code == WRONG_USAGE
    assert set(tmp_path.iterdir()) == before


@pytest.mark.slow
def test_figures_of_trends(demo, tmp_path):
    ran = demo("trend", "--figure", "ranked.pdf", "--map", "map.pdf", "--multiples", "all.pdf", "--format", "csv")
    assert ran.code == DONE, ran.err
    assert len(rows(ran)) == 27
    pages = {name: PdfReader(tmp_path / f"{name}.pdf").pages for name in ("ranked", "map", "all")}
    assert [len(pages[name]) for name in ("ranked", "map", "all")] == [1, 1, 2]
    for name in pages:
        assert "W-01" in pages[name][-1 if name == "ranked" else 0].extract_text()
    one = demo("trend", "--well", "W-03", "--unit", "ft", "--figure", "w.svg", "--approved")
    assert one.code == DONE, one.err
    assert (tmp_path / "w.svg").exists()
    assert demo("trend", "--well", "W-03", "--figure", "w.gif").code == STOPPED


@pytest.mark.slow
def test_the_same_record_gives_the_same_figures(demo, tmp_path):
    for name in ("a", "b"):
        assert demo("trend", "--well", "W-12", "--figure", f"{name}.pdf").code == DONE
        assert demo("seasons", "--well", "W-12", "--figure", f"s{name}.pdf").code == DONE
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    assert (tmp_path / "sa.pdf").read_bytes() == (tmp_path / "sb.pdf").read_bytes()
