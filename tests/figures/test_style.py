"""Typeface, settings and files: the same bytes every time, and nothing of the user's changed."""

import hashlib
import io
from itertools import pairwise

import matplotlib as mpl
import pikepdf
import pytest
from fontTools.ttLib import TTFont
from matplotlib.figure import Figure

from gwnet.errors import OutputError
from gwnet.figures.base import style
from gwnet.figures.base.style import figure_bytes, font_files, save, style_context
from gwnet.figures.hydrograph.draw import draw_hydrograph

from ..helpers import ROOT, run_python
from .test_hydrograph import rich

SCRIPT = """
import hashlib
from tests.figures.test_hydrograph import rich
from tests.figures.test_surface_map import plot_data
from gwnet.figures.hydrograph.draw import draw_hydrograph
from gwnet.figures.base.style import figure_bytes
from gwnet.figures.maps.surface_map import draw_surface_map
for make in (lambda: draw_hydrograph(rich()), lambda: draw_surface_map(plot_data())):
    for kind in ("pdf", "svg", "png"):
        print(kind, hashlib.sha256(figure_bytes(make(), kind)).hexdigest())
"""


@pytest.mark.slow
def test_fresh_processes_write_the_same_bytes_whatever_the_hash_seed():
    runs = [
        run_python("-W", "error", "-c", SCRIPT, cwd=ROOT, env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)})
        for seed in ("1", "4242")
    ]
    assert [run.code for run in runs] == [0, 0], runs[0].err + runs[1].err
    assert runs[0].out == runs[1].out
    assert len(runs[0].out.splitlines()) == 6


#: Minus, comparisons, arrows and signs of mathematics that tables, figures and headings print.
SIGNS = "−≤≥≈≠±×∞√∑∆←↑→↓↔"


@pytest.mark.parametrize(("bold", "italic"), [(False, False), (True, False), (False, True), (True, True)])
def test_each_face_of_the_typeface_has_its_own_signs(bold, italic):
    own, _ = font_files(bold=bold, italic=italic)
    with TTFont(own) as font:
        letters, glyphs = font.getBestCmap(), font["glyf"]
        assert [sign for sign in SIGNS if ord(sign) not in letters] == []
        assert all(glyphs[letters[ord(sign)]].numberOfContours for sign in SIGNS)


def test_the_bold_minus_is_as_wide_and_thick_as_the_bar_of_the_bold_plus():
    own, _ = font_files(bold=True)
    with TTFont(own) as font:
        letters, glyphs = font.getBestCmap(), font["glyf"]
        minus, plus = glyphs[letters[ord("−")]], glyphs[letters[ord("+")]]
        assert (minus.xMin, minus.xMax) == (plus.xMin, plus.xMax)
        middle = (minus.yMin + minus.yMax) / 2
        assert middle == pytest.approx((plus.yMin + plus.yMax) / 2, abs=1)


def test_drawing_twice_in_one_process_gives_the_same_bytes():
    digests = {hashlib.sha256(figure_bytes(draw_hydrograph(rich()), "pdf")).hexdigest() for _ in range(2)}
    assert len(digests) == 1


def test_the_user_s_settings_neither_change_a_figure_nor_are_changed():
    plain = figure_bytes(draw_hydrograph(rich()), "pdf")
    mine = {"lines.linewidth": 9.0, "font.family": ["serif"], "axes.facecolor": "red", "text.parse_math": True}
    with mpl.rc_context(mine):
        before = dict(mpl.rcParams)
        assert figure_bytes(draw_hydrograph(rich()), "pdf") == plain
        assert dict(mpl.rcParams) == before


def test_settings_come_back_after_an_error():
    before = dict(mpl.rcParams)

    def fail():
        with style_context():
            assert mpl.rcParams["pdf.fonttype"] == 42
            raise RuntimeError("inside")

    with pytest.raises(RuntimeError, match="inside"):
        fail()
    assert dict(mpl.rcParams) == before


def test_pdf_embeds_our_typeface_as_truetype_and_carries_no_time():
    with pikepdf.open(io.BytesIO(figure_bytes(draw_hydrograph(rich()), "pdf"))) as document:
        fonts = [one for one in document.objects if isinstance(one, pikepdf.Dictionary) and one.get("/FontFile2")]
        names = {str(one["/FontName"]) for one in fonts}
        assert any("gwnetSans" in name for name in names), names
        assert len(document.pages) == 1
        assert "/CreationDate" not in document.docinfo
        assert "/Producer" not in document.docinfo


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["png", "pdf", "svg", "PNG"])
def test_a_figure_is_written_as_its_ending_says(tmp_path, ending):
    path = save(draw_hydrograph(rich()), tmp_path / f"level.{ending}")
    start = {"png": b"\x89PNG", "pdf": b"%PDF", "svg": b"<?xml"}[ending.lower()]
    assert path.read_bytes().startswith(start)


@pytest.mark.parametrize(("name", "found"), [("level.jpg", r"'\.jpg'"), ("level", "no ending"), ("level.tiff", "tiff")])
def test_another_ending_is_refused_and_the_allowed_ones_are_named(tmp_path, name, found):
    with pytest.raises(OutputError, match=found) as caught:
        save(Figure(), tmp_path / name)
    assert all(kind in str(caught.value) for kind in (".png", ".pdf", ".svg"))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_stated(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        save(draw_hydrograph(rich()), tmp_path / "nowhere" / "level.pdf")


def test_svg_holds_markup_from_the_record_as_text_only():
    content = figure_bytes(draw_hydrograph(rich(well="<script>x</script> --> &")), "svg").decode()
    assert "<script>" not in content


def test_the_typeface_travels_with_its_licence_and_has_the_trade_s_signs():
    from matplotlib.ft2font import FT2Font

    folder = ROOT / "gwnet" / "figures" / "fonts"
    assert "SIL OPEN FONT LICENSE Version 1.1" in (folder / "LICENSE-NotoSans.txt").read_text()
    for bold, italic in ((False, False), (True, False), (False, True), (True, True)):
        own, _ = font_files(bold=bold, italic=italic)
        assert (folder / own).stat().st_size < 250_000
        letters = FT2Font(own).get_charmap()
        assert all(ord(letter) in letters for letter in "AÅéßŽαЖ±×°·–—“”…²³†")
    assert all(ord(sign) in FT2Font(font_files()[0]).get_charmap() for sign in "≤≥−→↓↑≈")


def lightness(colour):
    """Return the lightness L* of a colour (CIE 1976, from sRGB)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in mpl.colors.to_rgb(colour)]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * luminance ** (1 / 3) - 16 if luminance > 0.008856 else 903.3 * luminance


def test_rise_and_fall_and_thresholds_and_rain_differ_in_grey():
    assert lightness(style.FALL) - lightness(style.WATER) > 30
    assert lightness(style.RAIN) - lightness(style.LIMIT) > 15


def test_neighbours_in_the_key_of_aquifers_differ_in_grey():
    shades = [lightness(colour) for colour in style.AQUIFERS]
    assert all(abs(a - b) > 12 for a, b in pairwise(shades))
