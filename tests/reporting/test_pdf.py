"""The printed report: pages, fonts, links, figures and bytes, read back with a PDF reader of another make."""

import dataclasses
import datetime as dt
import hashlib
import io
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pikepdf
import pypdf
import pytest
from matplotlib.patches import Rectangle
from reportlab.pdfgen.canvas import Canvas

from gwnet.errors import ArchivalWarning, ReportError
from gwnet.figures.base.style import figure_bytes, new_figure
from gwnet.records import RecordState
from gwnet.reporting.content import (
    Beside,
    Bullets,
    Caution,
    Cell,
    Column,
    Cover,
    Facts,
    FigureSlot,
    Group,
    Heading,
    PageTitle,
    Paragraph,
    Report,
    Section,
    SignOff,
    Table,
    numbered,
)
from gwnet.reporting.drawing import FigureFrame
from gwnet.reporting.pdf.build import build_pages, fit_cover
from gwnet.reporting.pdf.figures import figure_size
from gwnet.reporting.pdf.fonts import BOLD, register_fonts
from gwnet.reporting.pdf.render import render_pdf
from gwnet.reporting.pdf.tables import table_flowables

from ..archival import broken_rules
from ..glyphs import missing_glyphs
from .constructed import compose

ROOT = Path(__file__).resolve().parents[2]
MOMENT = dt.datetime(2026, 4, 10, 12, tzinfo=dt.UTC)
NASTY = '<b>MW & "1"</b> 井 ✓'


def make(*sections, page="A4", **changes):
    settings = {
        "title": "Report",
        "site": "Site",
        "period": "2026-Q1",
        "state": "PROVISIONAL",
        "known_on": RecordState(7, MOMENT),
        "cover": Cover((Facts((("Site", "S"),)),)),
        "sections": tuple(sections),
        "page": page,
        **changes,
    }
    return Report(**settings)


def reader(rendered):
    return pypdf.PdfReader(io.BytesIO(rendered.content))


def page_texts(rendered):
    return [page.extract_text().replace("\u00a0", " ") for page in reader(rendered).pages]


def quick_texts(report):
    """Return the texts of the pages before the figures are put in place, which is all that page breaks need."""
    register_fonts()
    pages = pypdf.PdfReader(io.BytesIO(build_pages(numbered(report)).content)).pages
    return [page.extract_text() for page in pages]


def long_table(rows, *, remark="short"):
    columns = (Column("Well"), Column("Level", "m", 3, "right"), Column("Remark"))
    body = []
    for number in range(rows):
        if number % 25 == 0:
            body.append(Group(f"Group {number // 25}"))
        body.append(
            (Cell(f"W-{number:04d}"), Cell(float(number)), Cell(None, "no remark") if number % 2 else Cell(remark))
        )
    return Table("long", "A long table.", columns, tuple(body), ("A note.",))


def body_lines(page):
    """Return the pieces of text that stand between header and footer."""
    return [line for line in page.splitlines() if line.strip()]


@pytest.mark.slow
def test_same_bytes_in_two_fresh_processes(tmp_path):
    """Principle: same record, same definition, same cut-off, same bytes; other hash seeds, zones and clocks."""
    script = (
        "import sys, dataclasses, hashlib, importlib.util\n"
        f"spec = importlib.util.spec_from_file_location('constructed', {str(ROOT / 'tests/reporting/constructed.py')!r})\n"
        "constructed = importlib.util.module_from_spec(spec); spec.loader.exec_module(constructed)\n"
        "from gwnet.reporting.definition.parse import load_definition\n"
        "from gwnet.reporting.pdf.render import render_pdf\n"
        "report = constructed.compose(load_definition('quarterly'), constructed.record(5), period='2026-Q1',\n"
        "                 drawing=constructed.PlainDrawing())\n"
        "print(hashlib.sha256(render_pdf(report, attachments={'a.csv': b'a\\r\\n'}).content).hexdigest())\n"
    )
    digests = set()
    for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo")):
        environment = {"PYTHONHASHSEED": seed, "TZ": zone, "PYTHONPATH": str(ROOT), "HOME": str(tmp_path)}
        done = subprocess.run(
            [sys.executable, "-c", script], env=environment, cwd=tmp_path, capture_output=True, text=True, check=True
        )
        digests.add(done.stdout.strip())
    assert len(digests) == 1


#: What reports print beyond letters and digits.
SIGNS = "−≤≥→↓↑≈±×°·–—“”…²³†≠∆✓"


def test_bold_text_has_a_glyph_for_each_sign_and_takes_what_its_face_lacks_from_the_second_one():
    cells = (Cell(SIGNS, strong=True), Cell(-1.5, prefix="≤", strong=True))
    table = Table("t", SIGNS, (Column(SIGNS, group=SIGNS), Column("Level", "m", 2, "right")), (cells, Group(SIGNS)))
    blocks = (Heading(SIGNS), Paragraph(SIGNS, lead_in=SIGNS), Caution(SIGNS, (SIGNS,)), table)
    rendered = render_pdf(make(Section("a", SIGNS, blocks), title=SIGNS))
    missing, count = missing_glyphs(rendered.content)
    assert missing == []
    assert count > 12 * len(SIGNS)
    assert "[U+" not in "".join(page_texts(rendered))


def test_a_letter_without_a_glyph_is_noticed():
    """So that the silence above means something: the same letters in the bold face alone."""
    target = io.BytesIO()
    register_fonts()
    page = Canvas(target)
    page.setFont(BOLD, 12)
    page.drawString(50, 50, "a✓")
    page.save()
    missing, count = missing_glyphs(target.getvalue())
    assert (len(missing), count) == (1, 2)


@pytest.mark.slow
def test_another_cut_off_gives_other_bytes(report24, rendered24):
    later = dataclasses.replace(report24, known_on=RecordState(8, report24.known_on.recorded_at_utc))
    other = render_pdf(later, creator="gwnet test")
    assert hashlib.sha256(other.content).digest() != hashlib.sha256(rendered24.content).digest()


def test_is_archival_and_every_font_is_embedded(rendered24):
    """ISO 19005-3 (PDF/A-3b), judged by the validator of the PDF library; the fonts are also looked at here."""
    assert rendered24.archival
    with pikepdf.open(io.BytesIO(rendered24.content)) as document:
        described = [
            item
            for item in document.objects
            if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/FontDescriptor"
        ]
        fonts = [
            item for item in document.objects if isinstance(item, pikepdf.Dictionary) and item.get("/Type") == "/Font"
        ]
        assert described
        assert all("/FontFile2" in item or "/FontFile3" in item for item in described)
        assert all("/FontDescriptor" in item or "/DescendantFonts" in item for item in fonts)
        names = {str(item["/FontName"]).split("+")[-1].split("-")[0] for item in described}
        assert names <= {"gwnetSans", "DejaVuSans"}


@pytest.mark.skipif(shutil.which("pdffonts") is None, reason="pdffonts of poppler-utils is not installed")
def test_poppler_finds_every_font_embedded(rendered24, tmp_path):
    path = tmp_path / "report.pdf"
    path.write_bytes(rendered24.content)
    listing = subprocess.run(["pdffonts", path], capture_output=True, text=True, check=True).stdout.splitlines()[2:]
    assert listing
    assert all(line.split()[-5] == "yes" for line in listing)


def test_metadata_and_dates_come_from_the_report(rendered24):
    information = reader(rendered24).metadata
    assert information.title.startswith("Quarterly groundwater monitoring report, Holm wellfield (HOL), First quarter")
    assert information.author == "Holm water works"
    assert "HOL, 2026-Q1, provisional" in information["/Keywords"]
    assert information.creation_date == information.modification_date == MOMENT
    assert information.creator == "gwnet test"


def test_every_page_says_which_of_how_many_and_in_what_state(rendered24, report24):
    texts = page_texts(rendered24)
    assert rendered24.pages == len(texts)
    assert report24.state_words == "5 of 22 levels approved"
    for number, text in enumerate(texts, start=1):
        assert f"{number} of {len(texts)}" in text
        assert "Record as known on 2026-04-10 12:00:00 UTC (state 24)" in text
        assert report24.state_words in text


@pytest.mark.slow
@pytest.mark.parametrize("page", ["A4", "Letter"])
@pytest.mark.parametrize("count", [3, 24])
def test_no_page_is_empty_or_holds_a_single_line(constructed, quarterly, page, count):
    own = dataclasses.replace(quarterly, page=page)
    rendered = render_pdf(compose(own, constructed.record(count), period="2026-Q1", drawing=constructed.PlainDrawing()))
    size = {"A4": (595.3, 841.9), "Letter": (612, 792)}[page]
    for sheet in reader(rendered).pages:
        assert (float(sheet.mediabox.width), float(sheet.mediabox.height)) == pytest.approx(size, abs=0.1)
        # a page of pictures says little: the stand-in pictures have no text of their own, but many strokes
        strokes = len(re.findall(rb"\sl\s", sheet.get_contents().get_data()))
        assert len(body_lines(sheet.extract_text())) > 8 or strokes > 50


@pytest.mark.parametrize(
    ("count", "page", "unit"),
    [
        *((count, page, unit) for count in (3, 24) for page in ("A4", "Letter") for unit in ("m", "ft")),
        pytest.param(640, "Letter", "ft", marks=pytest.mark.slow),
    ],
)
def test_first_page_holds_results_map_and_contents(constructed, quarterly, count, page, unit):
    own = dataclasses.replace(quarterly, page=page, units=unit)
    report = fit_cover(compose(own, constructed.record(count), period="2026-Q1", drawing=constructed.PlainDrawing()))
    (beside,) = [block for block in report.cover.blocks if isinstance(block, Beside)]
    _, height = figure_size(beside.figure.content(), "key-map")
    assert 59.5 <= height * 25.4 / 72 <= 120.5
    # the contents ask for the titles alone
    kept = (PageTitle, Paragraph)
    sections = [
        [block if isinstance(block, kept) else Bullets(("one", "two")) for block in section.blocks]
        for section in report.sections
    ]
    short = dataclasses.replace(
        report,
        sections=tuple(
            dataclasses.replace(section, blocks=tuple(blocks))
            for section, blocks in zip(report.sections, sections, strict=True)
        ),
    )
    first, second = reader(render_pdf(short)).pages[:2]
    links = [note for note in first["/Annots"] if note.get_object()["/Subtype"] == "/Link"]
    assert len(links) == len([entry for _, entry in titles_of(report) if entry])
    assert "Read with care" in first.extract_text()
    assert titles_of(report)[0][0] in second.extract_text()


def titles_of(report):
    """Return the titles of pages and sections with what the contents call them; empty where they leave one out."""
    titles = []
    for section in report.sections:
        if not isinstance(section.blocks[0], PageTitle):
            spoken = len(section.blocks) == 1 and isinstance(section.blocks[0], Paragraph)
            titles.append((section.title, "" if spoken else section.title))
        pages = [block for block in section.blocks if isinstance(block, PageTitle)]
        titles += [(page.text, page.text if page.entry is None else page.entry) for page in pages]
    return titles


def test_contents_on_the_cover_link_to_the_pages_they_name(rendered24, report24):
    document, texts = reader(rendered24), page_texts(rendered24)
    links = [item.get_object() for item in document.pages[0]["/Annots"]]
    entries = [(title, entry) for title, entry in titles_of(report24) if entry]
    assert len(links) == len(entries) > 12
    for link, (title, entry) in zip(links, entries, strict=True):
        page = document.get_page_number(link["/Dest"][0].get_object())
        assert title in texts[page]
        assert re.search(rf"(?m)^ ?{re.escape(entry[:16])}[^\n]*\n{page + 1}$", texts[0])


def test_bookmarks_follow_the_titles_and_lead_to_wells(rendered24, report24):
    document = reader(rendered24)
    titles = [item.title for item in document.outline if not isinstance(item, list)]
    assert titles == [title for title, _ in titles_of(report24)]
    texts = page_texts(rendered24)
    for item in document.outline:
        if not isinstance(item, list):
            assert item.title in texts[document.get_destination_page_number(item)]
    flat = str(document.outline)
    assert "HW-001" in flat


@pytest.mark.slow
def test_figures_are_vector_forms_and_say_in_a_caption_what_no_title_says(rendered24, report24):
    document = reader(rendered24)
    forms, captions = 0, 0
    for page, text in zip(document.pages, page_texts(rendered24), strict=True):
        objects = page["/Resources"].get("/XObject", {})
        assert all(item.get_object()["/Subtype"] == "/Form" for item in objects.values())
        captions += len(re.findall(r"(?m)^Figure \d+ ", text))
        forms += len(objects)
    assert forms == len(report24.figures()) > 6
    assert captions == sum(figure.captioned for figure in report24.figures())


def test_figure_stands_at_its_size(constructed, report24, view24):
    content = constructed.PlainDrawing().network_map(view24, FigureFrame(170, 100, "m"))
    rendered = render_pdf(make(Section("a", "A", (FigureSlot("f", "Caption.", "alt", content),))))
    page = reader(rendered).pages[1]
    drawn = page.get_contents().get_data().decode("latin-1")
    (scale,) = re.findall(r"q (\S+) 0 0 \1 \S+ \S+ cm /Fig1 Do Q", drawn)
    assert float(scale) == pytest.approx(1.0)


def test_figure_too_tall_for_the_page_is_made_smaller(constructed, view24):
    content = constructed.PlainDrawing().network_map(view24, FigureFrame(170, 900, "m"))
    rendered = render_pdf(make(Section("a", "A", (FigureSlot("f", "Caption.", "alt", content),)), page="Letter"))
    assert rendered.pages == 2


@pytest.mark.parametrize("content", [b"", b"no pdf", b"%PDF-1.7\n%%EOF"])
def test_figure_that_is_no_pdf_is_named(content):
    with pytest.raises(ReportError, match="Figure 'f'"):
        render_pdf(make(Section("a", "A", (FigureSlot("f", "c", "a", content),))))


def test_figure_of_two_pages_is_refused():
    target = io.BytesIO()
    with pikepdf.new() as document:
        document.add_blank_page()
        document.add_blank_page()
        document.save(target)
    with pytest.raises(ReportError, match="has 2 pages; a figure has one"):
        render_pdf(make(Section("a", "A", (FigureSlot("f", "c", "a", target.getvalue()),))))


def test_markup_in_names_appears_as_it_is():
    table = Table("t", NASTY, (Column(NASTY),), ((Cell(NASTY),), (Cell(None, NASTY),)), (NASTY,))
    blocks = (
        Paragraph(NASTY, lead_in=NASTY),
        Heading(NASTY),
        Bullets((NASTY,)),
        Caution(NASTY, (NASTY,)),
        Facts(((NASTY, NASTY),)),
        table,
        SignOff(NASTY, ((NASTY, ((NASTY, NASTY),)),)),
    )
    rendered = render_pdf(make(Section("a", NASTY, blocks), title=NASTY, site=NASTY, author=NASTY, period=NASTY))
    text = "".join(page_texts(rendered)).replace("\n", " ")
    plain = re.sub(r"\s+", "", text)
    wanted = re.sub(r"\s+", "", '<b>MW & "1"</b> [U+4E95] ✓')
    assert plain.count(wanted) >= 18
    assert reader(rendered).metadata.title == f"{NASTY}, {NASTY}, {NASTY}"


def test_long_table_repeats_its_headings_and_keeps_every_row():
    rendered = render_pdf(make(Section("a", "A", (long_table(400),)), contents=False))
    texts = page_texts(rendered)[1:]
    assert len(texts) > 5
    for text in texts:
        assert re.search(r"Well\n\s?Level\n", text)
        assert "Table 1" in text
    assert [("(continued)" in text) for text in texts] == [False] + [True] * (len(texts) - 1)
    seen = re.findall(r"W-(\d{4})", "".join(texts))
    assert seen == [f"{number:04d}" for number in range(400)]
    assert "A note." in texts[-1]
    assert not any("A note." in text for text in texts[:-1])


@pytest.mark.parametrize("rows", range(40, 75))
def test_wherever_a_table_breaks_three_rows_stand_on_either_side(rows):
    texts = quick_texts(make(Section("a", "A", (long_table(rows),)), contents=False))[1:]
    counts = [len(re.findall(r"W-\d{4}", text)) for text in texts]
    assert sum(counts) == rows
    assert min(counts) >= 3


@pytest.mark.parametrize("lines", range(0, 60, 3))
def test_no_heading_stands_alone_at_the_foot_of_a_page(lines):
    filler = tuple(Paragraph(f"Filler {number}.") for number in range(lines))
    section = Section("a", "First", (*filler, Heading("The heading"), long_table(30)))
    texts = quick_texts(make(section, contents=False))
    (place,) = [text for text in texts if "The heading" in text]
    assert len(re.findall(r"W-\d{4}", place)) >= 3


@pytest.mark.parametrize("lines", range(0, 60, 6))
def test_a_heading_with_its_lead_stays_with_the_table_that_it_leads_to(lines):
    """The lead of the water elevations to date was alone at the foot of a page."""
    filler = Section("f", "Filler", tuple(Paragraph(f"Filler {number}.") for number in range(lines)))
    lead = Paragraph("One level is printed for each well and round.")
    section = Section("a", "To date", (lead, Heading("Lower sand"), long_table(30)))
    texts = quick_texts(make(filler, section, contents=False))
    (place,) = [text for text in texts if "One level is printed" in text]
    assert "To date" in place
    assert "Lower sand" in place
    assert len(re.findall(r"W-\d{4}", place)) >= 3


@pytest.mark.parametrize("lines", range(0, 60, 6))
@pytest.mark.parametrize("leads", [1, 2])
def test_a_heading_with_its_lead_stays_with_the_figure_that_it_leads_to(lines, leads):
    """The heading and the lead of a network on two maps were alone at the foot of a page."""
    picture = figure_bytes(new_figure((174.0, 105.0)), "pdf")
    filler = Section("f", "Filler", tuple(Paragraph(f"Filler {number}.") for number in range(lines)))
    figure = FigureSlot("n", "The wells on a map.", "map", picture)
    told = tuple(Paragraph(f"What is read first, part {number}.") for number in range(leads))
    texts = quick_texts(make(filler, Section("a", "Network", (*told, figure)), contents=False))
    (place,) = [text for text in texts if "What is read first, part 0" in text]
    assert "Network" in place
    assert "The wells on a map." in place


@pytest.mark.parametrize("lines", range(0, 60, 6))
def test_signatures_that_end_a_report_are_not_alone_on_its_last_page(lines):
    filler = Section("f", "Filler", tuple(Paragraph(f"Filler {number}.") for number in range(lines)))
    cautions = Section("c", "Cautions", (Caution("Limits", tuple(f"Item {number}." for number in range(8))),))
    lines_to_sign = (("Name", ""), ("Date", ""), ("Signature", ""))
    signed = Section("s", "Sign-off", (SignOff("Answered for.", (("Prepared by", lines_to_sign),)),))
    texts = quick_texts(make(filler, cautions, signed, contents=False))
    assert "Answered for." in texts[-1]
    assert "Item 0." in texts[-1]


def test_a_sentence_alone_has_a_small_heading_and_no_entry_in_the_contents():
    said = Section("a", "Network changes", (Paragraph("No well was added."),))
    told = Section("b", "Methods", (Paragraph("One."), Paragraph("Two.")))
    first, second = quick_texts(make(said, told))
    assert "Methods" in first
    assert "Network changes" not in first
    assert "Network changes" in second


def test_long_entries_of_the_contents_are_whole():
    title = "Missing readings and exclusions"
    report = make(*(Section(f"s{n}", f"{title} {n}", (Bullets(("One.",)),)) for n in range(8)))
    first = quick_texts(report)[0]
    assert "…" not in first
    assert first.count(title) == 8


def test_a_foot_that_is_a_little_too_long_has_smaller_letters_in_place_of_an_end_cut_off():
    """The datum of a report in feet was cut from its tenth page on."""
    heights = "elevations in feet (0.3048 m) above Orleva site datum 2018 (local)"
    text = quick_texts(make(Section("a", "A", (Paragraph("Text."),)), heights=heights))[-1]
    assert heights in text


def test_giant_texts_are_set_and_not_lost():
    word = "x" * 3000
    rows = ((Cell(word), Cell(1.0), Cell("word " * 3000)),)
    columns = (Column("Well"), Column("Level", "m", 3, "right"), Column("Remark"))
    table = Table("t", "caption " * 40, columns, rows)
    blocks = (Paragraph("long " * 4000), Bullets(("item " * 800,)), table, Caution("c", ("text " * 500,) * 8))
    rendered = render_pdf(
        make(Section("a", "title " * 40, blocks), title="T " * 200, site="S " * 200, period="P " * 99)
    )
    text = "".join(page_texts(rendered))
    assert text.count("word") == 3000
    assert text.count("x") >= 3000


@pytest.mark.slow
def test_many_notes_run_over_pages():
    rows = tuple((Cell(f"W-{number}"), Cell(None, f"a reason of its own, number {number}")) for number in range(300))
    rendered = render_pdf(make(Section("a", "A", (Table("t", "c", (Column("Well"), Column("Level")), rows),))))
    assert "number 299" in "".join(page_texts(rendered)).replace("\n", " ")


def test_attachments_travel_inside(report24):
    rendered = render_pdf(make(Section("a", "A", (Paragraph("text"),))), attachments={"levels.csv": b"well\r\nA\r\n"})
    assert reader(rendered).attachments["levels.csv"] == [b"well\r\nA\r\n"]
    assert rendered.archival
    assert broken_rules(rendered.content) == []


def test_a_report_that_is_not_archival_says_so():
    """A fill pattern is what the validator does not look into."""
    figure = new_figure((60.0, 40.0))
    figure.add_artist(Rectangle((0.1, 0.1), 0.5, 0.5, hatch="//", transform=figure.transFigure))
    slot = FigureSlot("f", "Figure", "Figure", figure_bytes(figure, "pdf"))
    with pytest.warns(ArchivalWarning, match=r"plain PDF, not as PDF/A-3b: \S+"):
        rendered = render_pdf(make(Section("a", "A", (slot,))))
    assert not rendered.archival
    assert "attern" in rendered.reason
    assert len(reader(rendered).pages) >= 2


def test_report_without_sections_is_a_cover():
    assert render_pdf(make()).pages in (1, 2)


def levels_page(rows, *, title, lines=0):
    """Return the title of a page, a text and a table of some rows."""
    table = dataclasses.replace(long_table(rows), key=title, caption=title)
    return (PageTitle(title), *(Paragraph(f"{title} line {place}.") for place in range(lines)), table)


def test_short_tables_with_titles_share_a_page_and_long_ones_do_not():
    def pages_of(rows):
        blocks = [block for name in ("First", "Second", "Third") for block in levels_page(rows, title=name)]
        return [
            [name for name in ("First", "Second", "Third") if f"{name}" in page]
            for page in quick_texts(make(Section("levels", "Levels", tuple(blocks), new_page=True)))[1:]
        ]

    assert pages_of(5) == [["First", "Second", "Third"]]
    assert pages_of(15) == [["First", "Second"], ["Third"]]
    assert pages_of(35) == [["First"], ["Second"], ["Third"]]


def test_a_section_that_starts_a_page_stays_where_it_fits_whole():
    first = Section("one", "One", levels_page(5, title="First"), new_page=True)
    assert len(quick_texts(make(first, Section("two", "Two", levels_page(5, title="Second"), new_page=True)))) == 2
    assert len(quick_texts(make(first, Section("two", "Two", levels_page(45, title="Second"), new_page=True)))) == 3


@pytest.mark.parametrize("lines", range(6, 30))
def test_a_group_of_which_hardly_a_row_would_stay_goes_on_with_its_heading(lines):
    filler = tuple(Paragraph(f"Filler {number}.") for number in range(lines))
    texts = quick_texts(make(Section("a", "A", (*filler, long_table(60))), contents=False))[1:]
    for text in texts[:-1]:
        after = text.rpartition("Group ")[2]
        assert len(re.findall(r"W-\d{4}", after)) != 1


def test_a_table_begins_on_a_rest_of_a_page_that_is_large():
    first = Section("one", "One", levels_page(20, title="First"), new_page=True)
    pages = quick_texts(make(first, Section("two", "Two", levels_page(45, title="Second"), new_page=True)))
    assert len(pages) == 3
    assert "Second" in pages[1]


def test_a_table_of_which_few_rows_would_go_on_closes_its_rows_up():
    register_fonts()
    flow = table_flowables(long_table(46))[0]
    _, height = flow.wrap(0, 0)
    (whole,) = flow.split(0, height - 60)
    assert whole.last == len(flow.layout.rows)
    assert whole.wrap(0, 0)[1] <= height - 60
    assert len(flow.split(0, height - 200)) == 2
