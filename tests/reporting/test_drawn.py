"""The report with its real figures: maps made by the analysis from constructed levels, hydrographs of the record."""

import dataclasses
import datetime as dt
import io
import re

import numpy as np
import pypdf
import pytest

from gwnet.analysis.maps.potentiometric import make_map
from gwnet.errors import TooFewLevelsError
from gwnet.figures.hydrograph.logger_line import LoggerSeries
from gwnet.reporting.drawing import FigureFrame
from gwnet.reporting.drawn import ReportDrawing
from gwnet.reporting.mapped import map_facts, refused_map
from gwnet.reporting.pdf.render import render_pdf

from .constructed import compose
from .plain import plain_report

DAY = dt.date(2026, 2, 10)
CRS = "EPSG:25832"


def plane(x, y):
    """A head that falls 0.002 m/m towards the east."""
    return 40.0 - 0.002 * (x - 500_000.0) + 0.0 * y


def control_of(record, aquifer, *, bump=None):
    (facts,) = [facts for facts in record.maps if facts.aquifer == aquifer]
    control = facts.control.copy()
    numbers = np.arange(len(control))
    control["easting"] = 500_000.0 + 130.0 * (numbers % 5)
    control["northing"] = 6_100_000.0 + 110.0 * (numbers // 5) + 23.0 * (numbers % 2)
    heads = plane(control["easting"], control["northing"])
    control["water_elevation_m"] = heads.where(control["used"], control["water_elevation_m"])
    if bump:
        control.loc[control["well"] == bump, "water_elevation_m"] += 30.0
    return control


def mapped(record, aquifer="U", **changes):
    made = make_map(
        control_of(record, aquifer, **changes),
        aquifer=aquifer,
        date=DAY,
        unit="m",
        crs=CRS,
        vertical_datum="local datum 1990",
    )
    return map_facts(made)


@pytest.fixture(scope="module")
def drawn(constructed, quarterly):
    record = constructed.record(24)
    record = dataclasses.replace(record, maps=(mapped(record),))
    report = compose(quarterly, record, period="2026-Q1", drawing=ReportDrawing())
    return report, render_pdf(report, creator="gwnet test")


def texts(rendered):
    return [page.extract_text().replace("\u00a0", " ") for page in pypdf.PdfReader(io.BytesIO(rendered.content)).pages]


@pytest.mark.slow
def test_real_figures_keep_the_report_archival(drawn):
    """ISO 19005-3 (PDF/A-3b), judged by the validator of the PDF library."""
    assert drawn[1].archival


@pytest.mark.slow
def test_figures_are_text_and_lines_and_name_their_wells(drawn):
    report, rendered = drawn
    pages = texts(rendered)
    assert "HW-0" in pages[0]
    sheets = "".join(text for text in pages if "Hydrographs: " in text)
    assert set(re.findall(r"HW-\d{3}", sheets)) >= {f"HW-{number:03d}" for number in range(1, 25)}
    document = pypdf.PdfReader(io.BytesIO(rendered.content))
    forms = [item.get_object() for page in document.pages for item in page["/Resources"].get("/XObject", {}).values()]
    assert len(forms) == len(report.figures())
    assert all(form["/Subtype"] == "/Form" for form in forms)


def test_gradient_of_the_plane_is_reported(drawn):
    """The heads lie on a plane that falls 0.002 m/m to the east: that is what the summary must say."""
    text = plain_report(drawn[0])
    assert re.search(r"gradient 0\.00200? ± 0\.0\d+, flow towards (90|89|91)° ± \d+° \(east\)", text)


@pytest.mark.slow
def test_well_that_does_not_fit_is_named_and_left_out_of_the_gradient(constructed, quarterly):
    record = constructed.record(24)
    facts = mapped(record, bump="HW-011")
    assert facts.gradient.without == ("HW-011",)
    assert facts.gradient.magnitude == pytest.approx(0.002, rel=0.05)
    record = dataclasses.replace(record, maps=(facts,))
    text = plain_report(compose(quarterly, record, period="2026-Q1", drawing=ReportDrawing()))
    assert "! Levels that do not fit" in text
    assert "HW-011 is" in text
    assert "; without HW-011." in text


def test_refused_map_carries_the_reason(record24):
    control = control_of(record24, "U")
    control["used"] = [True, True, *[False] * (len(control) - 2)]
    control["reason"] = ["", "", *["suspect"] * (len(control) - 2)]
    with pytest.raises(TooFewLevelsError) as caught:
        make_map(control, aquifer="U", date=DAY, unit="m")
    facts = refused_map("U", DAY, control, caught.value)
    assert facts.refused.startswith(caught.value.message)
    assert facts.result is None


def test_same_figure_same_bytes(view24):
    frame = FigureFrame(170.0, 150.0, "ft")
    wells = ("HW-001", "HW-007")
    one = ReportDrawing().hydrographs(view24, wells, wells, frame)
    assert one == ReportDrawing().hydrographs(view24, wells, wells, frame)
    page = pypdf.PdfReader(io.BytesIO(one.pdf)).pages[0]
    assert float(page.mediabox.width) == pytest.approx(170 / 25.4 * 72, abs=0.1)
    assert "HW-007" in page.extract_text()


def test_printed_state_of_levels_after_the_period_is_not_drawn(view24):
    drawn = ReportDrawing().hydrographs(view24, ("HW-001",), ("HW-001",), FigureFrame(170.0, 245.0, "m"))
    text = pypdf.PdfReader(io.BytesIO(drawn.pdf)).pages[0].extract_text()
    assert "on 10 Feb" in text
    assert "May" not in text


@pytest.mark.slow
def test_loggers_and_dotted_areas_keep_the_report_archival(constructed, quarterly):
    record = constructed.record(24)
    times = np.arange("2025-10-01", "2026-07-01", dtype="datetime64[h]")
    heads = 40.0 + 0.1 * np.sin(np.arange(times.size) / 50.0)
    series = LoggerSeries(
        times, heads, np.zeros(times.size, bool), (("S-1", times[0], None),), ((times[9], times[900]),)
    )
    control = control_of(record, "U").assign(ground_elevation_m=39.0)
    flowing = make_map(control, aquifer="U", date=DAY, unit="m", crs=CRS, check_ground=True)
    assert flowing.above_ground is not None
    record = dataclasses.replace(record, maps=(map_facts(flowing),), logger_lines={"HW-001": series})
    rendered = render_pdf(compose(quarterly, record, period="2026-Q1", drawing=ReportDrawing()))
    assert rendered.archival
    words = " ".join(texts(rendered))
    assert "logger" in words
    assert "head above ground" in words


def test_heads_of_a_logger_are_drawn_to_the_end_of_the_period(view24):
    times = np.arange("2025-10-01", "2026-07-01", dtype="datetime64[h]")
    heads = 40.0 + 0.1 * np.sin(np.arange(times.size) / 50.0)
    series = LoggerSeries(times, heads, np.zeros(times.size, dtype=bool), notes=("Logger S-1: as a test.",))
    data = dataclasses.replace(view24.data, logger_lines={"HW-001": series})
    with_logger = dataclasses.replace(view24, data=data)
    frame = FigureFrame(170.0, 245.0, "m")
    bare = ReportDrawing().hydrographs(view24, ("HW-001",), ("HW-001",), frame)
    drawn = ReportDrawing().hydrographs(with_logger, ("HW-001",), ("HW-001",), frame)
    words = [pypdf.PdfReader(io.BytesIO(page.pdf)).pages[0].extract_text() for page in (bare, drawn)]
    assert "logger" in words[1]
    assert "logger" not in words[0]
    assert len(drawn.pdf) > len(bare.pdf) + 2_000
