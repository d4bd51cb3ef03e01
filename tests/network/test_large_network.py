"""A network of many wells from its tables to map and report, in feet: pages, lists, what is only counted."""

import csv
import io
import re

import pytest
from pypdf import PdfReader

from gwnet.network import Network, init

from ..large_network import round_starts, write_network

ROUNDS = 5
PERIOD = "2025-Q4"
DAY = round_starts(1)[0][1]


@pytest.fixture(scope="module", params=["ft"])  # reports in metres are those of the demo
def network(request, tmp_path_factory):
    """Give an open record of 144 wells, its wells and its unit."""
    folder = tmp_path_factory.mktemp(f"large-{request.param}")
    wells = write_network(folder / "tables", 144, unit=request.param, rounds=ROUNDS)
    init(folder / "n.sqlite")
    with Network(folder / "n.sqlite") as net:
        assert net.load([folder / "tables"], by="A. Keeper").rejections == ()
        yield net, wells, request.param


@pytest.fixture(scope="module")
def made(network, tmp_path_factory):
    """Give the files of its quarterly by their ending, and what was said of its progress."""
    net, _, unit = network
    steps = []
    out = tmp_path_factory.mktemp(f"out-{unit}")
    net.report("quarterly", PERIOD, out, progress=lambda done, total: steps.append((done, total)))
    return {path.name.removeprefix(f"quarterly_BRALLA_{PERIOD}"): path for path in out.iterdir()}, steps


def texts(files):
    return [page.extract_text() for page in PdfReader(files[".pdf"]).pages]


def rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


@pytest.mark.slow
def test_the_report_has_a_page_an_aquifer_and_annexes_with_every_well(network, made):
    _, wells, unit = network
    files, _ = made
    pages = texts(files)
    of_aquifers = [text for text in pages if re.search(r"from \d+ manual readings", text) and "1 : " in text]
    assert len(of_aquifers) == 3
    words = {"m": "metres", "ft": "feet (0.3048 m)"}[unit]
    assert all(f"elevations in {words} above" in " ".join(text.split()) for text in of_aquifers)
    whole = " ".join(" ".join(pages).split())
    assert [well["well"] for well in wells if well["well"] not in whole] == []
    assert "Depth to" in whole
    assert len(pages) < 30
    listed = {row["well"] for row in rows(files["_wells.csv"])}
    assert listed == {well["well"] for well in wells}
    assert f"water_elevation_{unit}" in rows(files["_levels_of_period.csv"])[0]


@pytest.mark.slow
def test_the_two_basins_are_on_maps_of_their_own(made):
    whole = " ".join(" ".join(texts(made[0])).split())
    assert "Part 1 of 2 of the monitoring network: 126 wells" in whole
    assert "Part 2 of 2 of the monitoring network: 18 wells" in whole


def test_what_is_said_of_progress_never_goes_back_and_ends_with_the_last_part(made):
    _, steps = made
    assert [done for done, _ in steps] == list(range(1, len(steps) + 1))
    assert all(done < total for done, total in steps[:-1])
    assert steps[-1][0] == steps[-1][1]


def test_a_map_counts_wells_of_other_aquifers_and_lists_its_own(network):
    net, wells, unit = network
    drawn = net.map("upper", DAY, unit=unit)
    (said,) = drawn.summary().to_dict("records")
    own = [well["well"] for well in wells if well["aquifer"] == "upper"]
    others = {well["well"] for well in wells} - set(own)
    assert said["used"] + said["excluded"] == len(own)
    assert said["other_aquifers"] > 80
    assert not any(f"{well}: " in said["exclusions"] for well in others)
    control = drawn.table
    assert set(own) <= set(control["well"])
    assert (control.loc[control["well"].isin(others), "reason"] != "").all()


def test_a_change_counts_wells_of_other_aquifers_as_well(network):
    net, wells, unit = network
    before = round_starts(2)[0][1]
    (said,) = net.map.change("upper", DAY, since=before, unit=unit).summary().to_dict("records")
    others = [well["well"] for well in wells if well["aquifer"] != "upper"]
    assert said["other_aquifers"] > 80
    assert not any(f"{well}: " in said["exclusions"] for well in others)


def test_a_report_of_one_basin_names_no_well_of_the_other(network, tmp_path):
    net, wells, unit = network
    if unit == "ft":
        return  # the unit makes no difference here
    chosen = [well["well"] for well in wells if well["aquifer"] == "upper"][:30]
    definition = tmp_path / "one.toml"
    names = ", ".join(f'"{well}"' for well in chosen)
    definition.write_text(
        f'title = "A"\nsections = ["summary", "maps", "changes", "exclusions", "levels"]\n[select]\nwells = [{names}]\n'
    )
    written = net.report(definition, PERIOD, tmp_path / "out")
    whole = " ".join(page.extract_text() for page in PdfReader(written[0]).pages)
    others = [well["well"] for well in wells if well["well"] not in chosen]
    assert [well for well in others if re.search(rf"{re.escape(well)}(?![\w-])", whole)] == []
    assert chosen[0] in whole


def test_an_issue_is_compared_by_the_sections_that_it_was_made_of(network, tmp_path):
    net, wells, unit = network
    if unit == "ft":
        return  # the unit makes no difference here
    net.checks.record(by="A. Keeper")
    waiting = net.review.queue().findings
    rounds = waiting.loc[waiting["well"].fillna("") == "", "finding_id"].tolist()  # of rounds as a whole
    net.review.decide(rounds, "accept", reason="Looked at", together=True, by="R. Viewer")
    noticed = set(net.checks()["well"])
    chosen = ", ".join(f'"{well["well"]}"' for well in wells if well["well"] not in noticed)
    definition = tmp_path / "own.toml"
    text = 'title = "A"\nsections = ["summary"]\n[large]\nfrom_wells = 10\nsections = ["levels"]\n'
    definition.write_text(f"{text}[select]\nwells = [{chosen}]\n")
    made = net.report(definition, PERIOD, tmp_path / "issued", issue=True, by="A. Keeper")
    assert made.issue.printed["sections"] == ["levels"]
    assert net.report.diff("1").empty
