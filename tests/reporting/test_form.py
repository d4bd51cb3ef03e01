"""The form of the reports that travel with the program, made of the demo: archival, legible, used, and short.

Rows of 5 mm with ink, lowest ink, smallest type and overlap of words as project defaults (common practice, no source).
"""

import json
import shutil
import subprocess

import pytest
from pikepdf import pdfa

import gwnet

from ..archival import broken_rules
from ..glyphs import missing_glyphs
from ..page_form import ink_of_pages, letter_sizes, meeting_words, words_of_pages

pytestmark = pytest.mark.slow

#: Smallest letters of a page [pt]; a hundredth is lost in writing.
SMALLEST_PT = 6.95
#: Definitions with period, page format and unit, and the most pages that each may have.
REPORTS = {
    "quarterly": ("2026-Q1", "A4", "m", 25),
    "quarterly-letter": ("2026-Q1", "Letter", "ft", 26),
    # measured: four rounds have long tables of levels and, of two aquifers, eight maps of half a page with remarks
    "annual": ("2025", "A4", "m", 35),
    "round": ("2026-Q1", "A4", "m", 16),
    "trends": ("2026-Q1", "A4", "m", 16),
    "pumping_test-letter": ("2017", "Letter", "ft", 9),
}
#: Part of its body that a page reaches down at least, whatever begins after it. Project default.
LEAST_LOWEST = 0.4
#: Pages of the body that must be well used: those before the last page of each chapter of the quarterly.
FULL_PAGES = (1, 2, 3, 4, 6, 7, 8, 9)
#: The levels of the round are a chapter of one page, which is its last: the table is as long as the network has wells.
LEVELS_PAGE = 5


@pytest.fixture(scope="module", params=list(REPORTS))
def made(request, demo_record, tmp_path_factory):
    """PDF and manifest of a report of the demo."""
    from gwnet.resources import reports_folder

    period, page, unit, most = REPORTS[request.param]
    folder = tmp_path_factory.mktemp(request.param)
    name = request.param.partition("-")[0]
    text = (reports_folder() / f"{name}.toml").read_text(encoding="utf-8").replace('page = "A4"', f'page = "{page}"')
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    with gwnet.open(demo_record) as net:
        paths = net.report(folder / f"{name}.toml", period, folder / "out", unit=unit)
    (pdf,) = [path for path in paths if path.suffix == ".pdf"]
    (manifest,) = [path for path in paths if path.name.endswith("manifest.json")]
    return request.param, pdf, json.loads(manifest.read_text(encoding="utf-8")), most


def poppler():
    if shutil.which("pdftotext") is None or shutil.which("pdftoppm") is None:
        pytest.skip("no poppler: install Debian's poppler-utils to run this test")


def test_is_archival_and_no_longer_than_it_may_be(made):
    """PDF/A-3b by the PDF library's validator, by rules looked at with another library, and by qpdf."""
    _, pdf, manifest, most = made
    assert manifest["pdf"]["conformance"] == "PDF/A-3b"
    assert "not_archival_because" not in manifest["pdf"]
    assert pdfa.validate_written(pdf, "3b").verdict == "pass"
    assert broken_rules(pdf.read_bytes()) == []
    checked = subprocess.run(["qpdf", "--check", pdf], capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert manifest["pdf"]["pages"] <= most


def test_no_letter_is_smaller_than_seven_points_and_none_is_without_a_glyph(made):
    content = made[1].read_bytes()
    sizes = letter_sizes(content)
    assert all(sizes)
    assert {place: min(page) for place, page in enumerate(sizes, start=1) if min(page) < SMALLEST_PT} == {}
    missing, count = missing_glyphs(content)
    assert missing == []
    assert count > 5_000


def test_no_word_meets_another_or_leaves_the_block_of_text(made):
    poppler()
    name, pdf, _, _ = made
    width = 215.9 if name.endswith("letter") else 210.0
    left, right = (width - 174.0) / 2 - 0.6, (width + 174.0) / 2 + 0.6
    pages = words_of_pages(pdf)
    assert sum(map(len, pages)) > 1_000
    assert {place: pairs for place, words in enumerate(pages, 1) if (pairs := meeting_words(words))} == {}
    outside = {
        place: [word.text for word in words if word.left < left or word.right > right]
        for place, words in enumerate(pages, 1)
    }
    assert {place: words for place, words in outside.items() if words} == {}


def test_no_page_ends_in_its_upper_part_unless_a_figure_of_a_whole_page_follows(made, tmp_path):
    poppler()
    pdf = made[1]
    titles = [" ".join(word.text for word in words) for words in words_of_pages(pdf)]
    ink = ink_of_pages(pdf, tmp_path, dpi=50)
    short = {place for place, page in enumerate(ink[:-1]) if page.lowest < LEAST_LOWEST}
    assert {place + 1 for place in short if "Hydrographs:" not in titles[place + 1]} == set()


def test_pages_of_the_quarterly_are_used(made, tmp_path):
    poppler()
    name, pdf, _, _ = made
    if not name.startswith("quarterly"):
        return  # the pages of other definitions end with their chapters
    ink = ink_of_pages(pdf, tmp_path)
    assert {
        place: ink[place - 1] for place in FULL_PAGES if ink[place - 1].rows < 0.85 or ink[place - 1].cells < 0.45
    } == {}
    assert {place: ink[place - 1] for place in FULL_PAGES if ink[place - 1].lowest < 0.83} == {}
    levels = ink[LEVELS_PAGE - 1]
    assert min(levels.rows, levels.lowest) >= 0.80, levels
    assert levels.cells >= 0.45, levels
