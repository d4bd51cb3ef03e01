"""Figures as files: PDF/A-3b by three checks, a note where they are not, and title and record in every kind of file."""

import builtins
import io
import re
import shutil
import subprocess
import sys

import pikepdf
import pytest
from matplotlib.patches import Rectangle
from pikepdf import pdfa
from PIL import Image

from gwnet.errors import ArchivalWarning
from gwnet.figures.base import style
from gwnet.figures.base.archive import archival_pages
from gwnet.figures.base.described import describe
from gwnet.figures.base.panel import save_all
from gwnet.figures.hydrograph.draw import draw_hydrograph
from gwnet.figures.maps.surface_map import draw_surface_map

from ..archival import broken_rules
from .test_hydrograph import rich
from .test_surface_map import plot_data

INFORMATION = {"Title": "A figure", "Creator": "gwnet", "Producer": "gwnet"}


@pytest.fixture(scope="module", params=["hydrograph", "map"])
def figure(request):
    return draw_hydrograph(rich()) if request.param == "hydrograph" else draw_surface_map(plot_data())


def hatched():
    """Return a figure with a fill pattern, which the validator does not look into."""
    figure = style.new_figure((60.0, 40.0))
    figure.add_artist(Rectangle((0.1, 0.1), 0.5, 0.5, hatch="//", transform=figure.transFigure))
    return figure


def test_a_figure_is_archival_by_two_validators_and_our_own_look(figure, tmp_path):
    path = style.save(figure, tmp_path / "figure.pdf")
    assert pdfa.validate_written(path, "3b").verdict == "pass"
    assert broken_rules(path.read_bytes()) == []
    assert path.read_bytes() == style.file_bytes(figure, "pdf")
    if shutil.which("qpdf") is None:
        pytest.skip("no qpdf: install Debian's qpdf to run this test")
    told = subprocess.run(["qpdf", "--check", path], capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stdout + told.stderr


@pytest.mark.slow
def test_pages_of_one_file_are_archival(figure, tmp_path):
    (path,) = save_all([([figure, figure], tmp_path / "pages.pdf")])
    assert broken_rules(path.read_bytes()) == []
    with pikepdf.open(path) as document:
        assert len(document.pages) == 2


def changed(content, change):
    target = io.BytesIO()
    with pikepdf.open(io.BytesIO(content)) as document:
        change(document)
        document.save(target)
    return target.getvalue()


def without_fonts(document):
    for item in document.objects:
        if isinstance(item, pikepdf.Dictionary) and "/FontFile2" in item:
            del item["/FontFile2"]


def of_another_part(document):
    text = document.Root.Metadata.read_bytes()
    assert b"<pdfaid:part>3" in text
    document.Root.Metadata.write(text.replace(b"<pdfaid:part>3", b"<pdfaid:part>1"))


def with_another_title(document):
    document.docinfo["/Title"] = "another"


def with_an_action(document):
    document.Root["/OpenAction"] = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="1")


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        (without_fonts, "6.2.11.4"),
        (of_another_part, "6.6.4"),
        (with_another_title, "6.6.2.3"),
        (with_an_action, "6.5.1"),
        (lambda document: document.Root.__delitem__("/OutputIntents"), "6.2.3"),
        (lambda document: document.Root.__delitem__("/Metadata"), "6.6.2.1"),
    ],
)
def test_our_own_look_sees_a_broken_copy(figure, change, rule):
    broken = broken_rules(changed(style.file_bytes(figure, "pdf"), change))
    assert broken
    assert all(problem.startswith(rule) for problem in broken)


def test_a_figure_that_is_not_archival_says_why_and_is_written_all_the_same(tmp_path):
    with pytest.warns(ArchivalWarning, match=r"figure is written as plain PDF, not as PDF/A-3b: \S+"):
        path = style.save(hatched(), tmp_path / "figure.pdf")
    assert any("6.6.2.1" in problem or "6.2.3" in problem for problem in broken_rules(path.read_bytes()))
    assert pdfa.validate_written(path, "3b").verdict != "pass"


def test_a_pikepdf_without_validator_writes_plain_pages(monkeypatch, figure):
    monkeypatch.delattr(pikepdf, "pdfa")
    monkeypatch.setitem(sys.modules, "pikepdf.pdfa", None)
    with pytest.warns(ArchivalWarning, match=r"installed pikepdf cannot validate it; version 10\.18"):
        written = archival_pages(style.figure_bytes(figure, "pdf"), INFORMATION)
    assert not written.archival
    assert "10.18" in written.reason
    with pikepdf.open(io.BytesIO(written.content)) as document:
        assert str(document.docinfo["/Title"]) == "A figure"


def test_without_pikepdf_the_pages_stay_as_they_are(monkeypatch, figure):
    usual = builtins.__import__

    def refuse(name, *rest, **more):
        if name.partition(".")[0] == "pikepdf":
            raise ImportError(name)
        return usual(name, *rest, **more)

    content = style.figure_bytes(figure, "pdf")
    monkeypatch.setattr(builtins, "__import__", refuse)
    with pytest.warns(ArchivalWarning, match="pikepdf is not installed"):
        written = archival_pages(content, INFORMATION)
    assert written.content == content


def test_every_kind_of_file_has_title_and_record(figure):
    words = describe(figure)
    assert words.title
    picture = Image.open(io.BytesIO(style.file_bytes(figure, "png")))
    assert picture.text["Title"] == words.title
    assert picture.text["Source"] == words.source
    assert re.fullmatch(r"gwnet \d\S+", picture.text["Software"])
    drawing = style.file_bytes(figure, "svg").decode()
    assert f"<dc:source>{words.source}</dc:source>" in drawing
    with pikepdf.open(io.BytesIO(style.file_bytes(figure, "pdf"))) as document:
        assert str(document.docinfo["/Title"]) == words.title
        assert str(document.docinfo["/Subject"]) == words.source


def test_the_record_is_found_where_lines_cut_its_sentence():
    figure = style.new_figure((60.0, 40.0))
    figure.text(0.1, 0.9, "Heading", fontsize=9.5)
    figure.text(0.1, 0.5, "Notes. Record as known on 2026-03-09 09:00:00", fontsize=7.0)
    figure.text(0.1, 0.4, "UTC+01:00 (state 35). More.", fontsize=7.0)
    words = describe(figure)
    assert (words.title, words.record) == ("Heading", "2026-03-09 09:00:00 UTC+01:00 (state 35)")
    assert describe(style.new_figure((60.0, 40.0))).source == "Monitoring record; state not stated."
