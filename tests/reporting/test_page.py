"""The report as a page: the same words as the report, nothing fetched, no text that runs. Constructed records."""

import base64
import dataclasses
import hashlib
import html
import html.parser
import itertools
import json
import re

import numpy as np
import pytest

from gwnet.figures.hydrograph.logger_line import LoggerSeries
from gwnet.reporting.compose import compose_view
from gwnet.reporting.content import Group, cell_text
from gwnet.reporting.definition.period import parse_period
from gwnet.reporting.drawn_together import with_figures
from gwnet.reporting.view import look
from gwnet.reporting.web.data import page_data
from gwnet.reporting.web.page import render_page

from . import constructed

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(1)>&\u202e💧"


class Reader(html.parser.HTMLParser):
    """Collects the visible text, the elements and what they would load."""

    def __init__(self):
        super().__init__()
        self.text, self.tags, self.loads, self.ids, self.inside = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.inside.append(tag)
        for name, value in attrs:
            if name in ("src", "href", "srcset", "action", "data") and not (value or "").startswith(("#", "data:")):
                self.loads.append((tag, name, value))
            if name == "id":
                self.ids.append(value)
            assert not name.startswith("on"), (tag, name)

    def handle_endtag(self, tag):
        if tag in self.inside:
            while self.inside.pop() != tag:
                pass

    def handle_data(self, data):
        if not {"script", "style"} & set(self.inside):
            self.text.append(data)


def read(page):
    reader = Reader()
    reader.feed(page.decode("utf-8"))
    return reader


def page_of(quarterly, data, drawing=None):
    view = look(quarterly, data, parse_period("2026-Q1"))
    report = with_figures(compose_view(view, drawing or constructed.PlainDrawing()))
    return render_page(report, view, creator="gwnet test"), report, view


@pytest.fixture(scope="module")
def made(quarterly):
    return page_of(quarterly, constructed.record(24))


def squeezed(text):
    return " ".join(text.split())


@pytest.mark.slow
def test_every_heading_cell_note_and_caption_of_the_report_is_on_the_page(made):
    page, report, _ = made
    text = squeezed(" ".join(read(page).text))
    for section in report.sections:
        assert section.title in text
    for table in report.tables():
        assert squeezed(table.caption) in text
        for row in table.rows:
            if isinstance(row, Group):
                assert squeezed(row.text) in text
                continue
            for cell, column in zip(row, table.columns, strict=True):
                assert squeezed(cell_text(cell, column)) in text
                assert squeezed(cell.reason) in text
    for figure in report.figures():
        assert squeezed(figure.caption) in text


def test_nothing_is_loaded_from_anywhere_and_no_name_is_twice(made):
    reader = read(made[0])
    assert reader.loads == []
    assert len(reader.ids) == len(set(reader.ids))
    assert not {"iframe", "object", "embed", "link", "base", "form"} & set(reader.tags)


def test_the_policy_lets_the_page_s_own_script_run_and_no_other(made):
    text = made[0].decode("utf-8")
    policy = html.unescape(re.search(r'Content-Security-Policy" content="([^"]+)"', text)[1])
    script = text[text.rindex("<script>") + 8 : text.rindex("</script>")]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'")


@pytest.mark.slow
def test_hostile_names_and_notes_stay_text(quarterly):
    data = constructed.record(3)
    levels = data.levels.assign(notes=HOSTILE)
    wells = data.wells.assign(notes=HOSTILE, cluster=HOSTILE)
    site = dataclasses.replace(data.site, name=HOSTILE, vertical_datum=HOSTILE)
    page, _, _ = page_of(quarterly, dataclasses.replace(data, levels=levels, wells=wells, site=site))
    reader = read(page)
    assert reader.tags.count("script") == 2
    assert "img" not in reader.tags
    assert HOSTILE in "".join(reader.text)


def test_the_data_of_the_page_cannot_end_its_element(view24):
    wells = view24.wells.assign(notes=HOSTILE)
    text = page_data(dataclasses.replace(view24, wells=wells))
    assert not set("<>&") & set(text)
    content = json.loads(text)
    assert ["Notes", HOSTILE] in content["wells"][0]["facts"]
    assert [well["well"] for well in content["wells"]] == list(view24.wells["well"])


def test_every_level_with_an_elevation_can_be_pointed_at(view24):
    content = json.loads(page_data(view24))
    numbered = view24.levels[view24.levels["water_elevation_m"].notna()]
    for well in content["wells"]:
        own = numbered[numbered["well"] == well["well"]].sort_values("measured_at_utc")
        assert well["levels"]["e"] == [round(value, 3) for value in own["water_elevation_m"]]
        assert well["levels"]["t"][0] == int(own["measured_at_utc"].iloc[0].timestamp() * 1000)
        assert well["levels"]["b"] == [{"<=": -1, ">=": 1, "": 0}[bound] for bound in own["bound"]]


def test_a_logger_line_is_thinned_and_keeps_its_extremes_and_breaks(quarterly):
    data = constructed.record(1)
    rng = np.random.default_rng(5)
    when = np.arange("2020-01-01", "2026-01-01", dtype="M8[m]")[::10].astype("M8[us]")
    values = 40 + np.cumsum(rng.normal(0, 0.001, when.size))
    values[1000:1010] = np.nan
    series = LoggerSeries(when, values, np.zeros(when.size, dtype=bool))
    view = look(quarterly, dataclasses.replace(data, logger_lines={"HW-001": series}), parse_period("2026-Q1"))
    line = json.loads(page_data(view))["wells"][0]["line"]
    numbers = [value for value in line["e"] if value is not None]
    assert len(line["t"]) < 20_000 < when.size
    assert None in line["e"]
    assert min(numbers) == round(float(np.nanmin(values)), 3)
    assert max(numbers) == round(float(np.nanmax(values)), 3)


def test_a_logger_line_has_the_bounds_of_a_sensor_out_of_water(quarterly):
    data = constructed.record(1)
    when = np.datetime64("2024-01-01", "us") + np.arange(100) * np.timedelta64(1, "h")
    bound = (when[20], when[40], 31.25, 31.5)
    series = LoggerSeries(when, np.full(100, 33.0), np.zeros(100, dtype=bool), bounds=(bound,))
    view = look(quarterly, dataclasses.replace(data, logger_lines={"HW-001": series}), parse_period("2026-Q1"))
    (shown,) = json.loads(page_data(view))["wells"][0]["line"]["bounds"]
    assert shown[:2] == [int(edge.astype("datetime64[ms]").astype(np.int64)) for edge in bound[:2]]
    assert shown[2:] == [31.25, 31.5]


@pytest.mark.slow
def test_the_same_report_gives_the_same_page(quarterly, made):
    assert page_of(quarterly, constructed.record(24))[0] == made[0]


def test_headings_follow_one_another_and_tables_have_heads(made):
    reader = read(made[0])
    levels = [int(tag[1]) for tag in reader.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in itertools.pairwise(levels) if earlier > 1)
    assert reader.tags.count("thead") == reader.tags.count("table") == reader.tags.count("caption")


def test_a_definition_without_a_page_writes_none(quarterly, tmp_path):
    from gwnet.reporting.write import make_files

    own = dataclasses.replace(quarterly, web_page=False, sections=("levels",))
    made = make_files(
        own,
        constructed.record(3),
        period="2026-Q1",
        drawing=constructed.PlainDrawing(),
        program_version="9.9",
        schema_revision="0002",
    )
    assert not [name for name in made.annex if name.endswith(".html")]
