"""The report of a network of many wells: sections of its own, a page an aquifer, and annexes that list every well."""

import dataclasses
import re

import pandas as pd
import pytest

from gwnet.analysis.thresholds.states import CROSSED, UNCONFIRMED
from gwnet.constants import LARGE_NETWORK_WELLS
from gwnet.errors import DefinitionError
from gwnet.reporting.content import FigureSlot, Group, PageTitle, Paragraph, Table
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.pdf.render import render_pdf
from gwnet.reporting.sections.aquifers import compose_aquifers
from gwnet.reporting.sections.hydrographs import compose_notable_hydrographs, notable_wells
from gwnet.reporting.sections.maps import compose_map_wells, compose_network_map
from gwnet.reporting.view import look

from .constructed import compose
from .test_pdf import body_lines, reader

WELLS = LARGE_NETWORK_WELLS + 20


@pytest.fixture(scope="module")
def record(constructed):
    return constructed.record(WELLS)


@pytest.fixture(scope="module")
def large(quarterly, record):
    return quarterly.for_wells(record.wells)


@pytest.fixture(scope="module")
def view(large, record):
    return look(large, record, parse_period("2026-Q1"))


def test_sections_follow_from_the_number_of_selected_wells(quarterly, record):
    few = record.wells.iloc[: LARGE_NETWORK_WELLS - 1]
    assert quarterly.for_wells(few) is quarterly
    assert quarterly.for_wells(record.wells.iloc[:LARGE_NETWORK_WELLS]).sections == quarterly.large_sections
    chosen = dataclasses.replace(quarterly, wells=tuple(record.wells["well"][:10]))
    assert chosen.for_wells(record.wells) is chosen
    never = dataclasses.replace(quarterly, large_from_wells=0)
    assert never.for_wells(record.wells) is never
    assert quarterly.large_from_wells == LARGE_NETWORK_WELLS
    assert not {"hydrographs", "levels_to_date"} & set(quarterly.large_sections)


@pytest.mark.parametrize("name", ["quarterly", "annual", "round", "trends"])
def test_every_definition_that_travels_along_has_sections_for_many_wells(name, record):
    definition = load_definition(name)
    assert definition.large_from_wells == LARGE_NETWORK_WELLS
    large = definition.for_wells(record.wells)
    assert ("aquifers" in large.sections) == (name != "trends")
    assert not {"hydrographs", "seasons", "levels_to_date"} & set(large.sections)


def test_a_definition_says_from_how_many_wells_a_network_is_large(tmp_path, record):
    path = tmp_path / "own.toml"
    path.write_text('title = "A"\nsections = ["summary"]\n[large]\nfrom_wells = 30\nsections = ["aquifers"]\n')
    definition = load_definition(path)
    assert definition.for_wells(record.wells.iloc[:30]).sections == ("aquifers",)
    assert definition.for_wells(record.wells.iloc[:29]).sections == ("summary",)
    path.write_text('title = "A"\nsections = ["summary"]\n[large]\nfrom_wells = -1\n')
    with pytest.raises(DefinitionError, match=r"line 4.*'from_wells' has the value -1; expected a whole number from 0"):
        load_definition(path)
    path.write_text('title = "A"\nsections = ["summary"]\n[large]\nsections = ["aquifer"]\n')
    with pytest.raises(DefinitionError, match="aquifers"):
        load_definition(path)
    path.write_text('title = "A"\nsections = ["summary"]\n')
    alone = load_definition(path)
    assert alone.for_wells(record.wells) is alone


@pytest.mark.slow
def test_each_aquifer_has_one_page_with_its_results_and_its_map(view, constructed):
    blocks = compose_aquifers(view, constructed.PlainDrawing())
    pages = "".join(
        "t" if isinstance(block, PageTitle) else "f" if isinstance(block, FigureSlot) else "." for block in blocks
    )
    assert pages == "t.f" * len(view.by_aquifer())
    assert len(view.by_aquifer()) == 2
    for number, (code, wells) in enumerate(view.by_aquifer()):
        title, lead, figure = blocks[3 * number : 3 * number + 3]
        assert title.entry == view.aquifer_name(code).partition(" (")[0]
        assert title.text == f"{title.entry}, 10 February 2026"
        changes = {well: view.change_since_last(view.current, well) for well in wells["well"]}
        known = [change for change in changes.values() if change.known]
        rose = [change for change in known if change.is_significant and change.value_m > 0]
        assert f"the level rose at {len(rose)} of {len(known)} wells compared" in lead.text
        assert figure.key == f"aquifer-{number + 1}"
        assert not figure.captioned


@pytest.mark.slow
def test_every_well_is_in_the_annex_with_its_level_or_the_reason_why_it_has_none(large, record, constructed):
    report = compose(large, record, period="2026-Q1", drawing=constructed.PlainDrawing())
    sections = {section.key: section for section in report.sections}
    (table,) = [block for block in sections["levels"].blocks if isinstance(block, Table) and "levels" in block.key]
    listed = {row[0].value.partition(" (")[0] for row in table.rows if not isinstance(row, Group)}
    missing = " ".join(
        str(cell.value)
        for block in sections["exclusions"].blocks
        if isinstance(block, Table)
        for row in block.rows
        for cell in row[:1]
    )
    missing += " ".join(block.text for block in sections["exclusions"].blocks if isinstance(block, Paragraph))
    without = set(record.wells["well"]) - listed
    assert without <= set(re.findall(r"[\w-]+", missing))
    assert len(listed) > WELLS * 0.9


@pytest.mark.slow
@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_an_aquifer_takes_one_page_and_no_page_is_empty(large, record, constructed, page):
    own = dataclasses.replace(large, page=page)
    rendered = render_pdf(compose(own, record, period="2026-Q1", drawing=constructed.PlainDrawing()))
    texts = [sheet.extract_text() for sheet in reader(rendered).pages]
    held = [number for number, text in enumerate(texts) if re.search(r"\w, 10 February 2026\n", text) and number]
    assert len(held) == 2
    assert held[1] == held[0] + 1
    assert all(len(body_lines(text)) > 5 for text in texts)


def test_a_large_report_has_the_hydrographs_of_notable_wells_alone(large, record, constructed):
    view = look(large, dataclasses.replace(record, thresholds=record.thresholds.iloc[:2]), parse_period("2026-Q1"))
    wells = notable_wells(view)
    assert 0 < len(wells) <= 12
    changes = {well: view.change_since_last(view.current, well) for well in view.wells["well"]}
    clear = {well: change.value_m for well, change in changes.items() if change.known and change.is_significant}
    for _, members in view.by_aquifer():
        own = {well: clear[well] for well in members["well"] if well in clear}
        if own:
            assert own[min(own, key=own.get)] in [own.get(well) for well in wells]
            assert own[max(own, key=own.get)] in [own.get(well) for well in wells]
    blocks = compose_notable_hydrographs(view, constructed.PlainDrawing())
    drawn = [well for block in blocks if isinstance(block, FigureSlot) for well in block.bookmarks]
    assert drawn == list(wells)


def test_wells_beyond_a_threshold_come_first(view):
    crossed = list(dict.fromkeys(status.well for status in view.thresholds if status.state in (CROSSED, UNCONFIRMED)))
    assert crossed
    assert notable_wells(view)[: len(crossed)] == tuple(crossed[:12])


def with_others(record, count):
    """Return the record with measured wells of another aquifer in the control of its first map."""
    first, *rest = record.maps
    row = first.control.iloc[0].to_dict()
    more = [row | {"well": f"X-{n}", "used": False, "reason": "taps another aquifer: X"} for n in range(count)]
    more += [
        row | {"well": f"P-{n}", "used": False, "reason": f"one well a place: P-{n + 1} stands for it"}
        for n in range(90)
    ]
    control = pd.concat([first.control, pd.DataFrame(more)], ignore_index=True)
    return dataclasses.replace(record, maps=(dataclasses.replace(first, control=control), *rest))


@pytest.mark.slow
def test_wells_of_other_aquifers_are_counted_and_long_lists_are_whole(large, record, constructed):
    view = look(large, with_others(record, 373), parse_period("2026-Q1"))
    blocks = compose_map_wells(view, constructed.PlainDrawing())
    table = next(block for block in blocks if isinstance(block, Table))
    assert table.notes == ("373 wells of other aquifers are not drawn (X 373).",)
    names = [name for row in table.rows for name in str(row[0].value).split(", ")]
    assert not any(name.startswith("X-") for name in names)
    assert [name for name in names if name.startswith("P-")] == [f"P-{n}" for n in range(90)]
    assert max(len(str(row[0].value).split(", ")) for row in table.rows) <= 40


@pytest.mark.slow
def test_the_network_is_on_two_maps_where_its_wells_are_in_two_basins(large, record, constructed):
    far = record.wells.copy()
    far.loc[far.index[-30:], "easting"] += 900_000.0
    view = look(large, dataclasses.replace(record, wells=far), parse_period("2026-Q1"))
    blocks = compose_network_map(view, constructed.PlainDrawing())
    assert [block.key for block in blocks if isinstance(block, FigureSlot)] == ["network-1", "network-2"]
    assert "30 wells" in blocks[-1].caption
    assert blocks[-1].content().startswith(b"%PDF")
