"""The look of every figure: typeface, colours, widths; and how figures become files.

Colours differ in lightness and always go with a different shape or dash, so that figures can be read in grey and by
colour-blind readers. Settings hold only inside `style_context`; a user's own matplotlib settings are never changed
and never change a figure.

Letters of figures are embedded without the tables that shape text, which took half of the time of a figure.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import matplotlib.style as mpl_style
from fontTools.subset import Options
from matplotlib import font_manager
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from gwnet.errors import OutputError
from gwnet.figures.base.archive import archival_pages
from gwnet.figures.base.described import describe
from gwnet.whole_files import replace_files

#: Typeface, and the one that lends letters which the first lacks.
FAMILY: Final[tuple[str, str]] = ("gwnet Sans", "DejaVu Sans")

# Ink and paper.
INK: Final = "#1F2830"
SOFT: Final = "#4C5863"
RULE: Final = "#AEB8C0"
GRID: Final = "#E4E9EC"
TINT: Final = "#F1F4F6"
PAPER: Final = "#FFFFFF"

# What is drawn; lightness in CIE L* behind each.
WATER: Final = "#12527A"  # 33: contours, loggers, a rise
FALL: Final = "#C3D3DE"  # 83: a fall, always with an outline in the colour of water
SERIES: Final = "#4F8DB3"  # 55: samples, data on record
LIMIT: Final = "#A8410A"  # 40: thresholds, what is beyond them
EARTH: Final = "#80602F"  # 43: ground, screen
RIVER: Final = "#0E7C7B"  # 46: gauges
FLOW: Final = "#31404C"  # 26: arrows
RAIN: Final = "#7C93A6"  # 60: bars of the second panel
#: Aquifers of a network map: light and dark in turn, each with a shape of its own.
AQUIFERS: Final[tuple[str, ...]] = (
    "#12527A",
    "#E0A243",
    "#7A2E5D",
    "#7FB8A4",
    "#4A4A4A",
    "#D97B5B",
    "#2F6B3A",
    "#B7A6D6",
)

# Sizes of letters [pt] and widths of lines [pt].
TITLE_PT: Final = 9.5
LABEL_PT: Final = 7.5
TICK_PT: Final = 7.0
NOTE_PT: Final = 7.0
HAIR: Final = 0.45
THIN: Final = 0.7
LINE: Final = 1.0
HEAVY: Final = 1.5

#: What a figure can be saved as.
FILE_TYPES: Final[tuple[str, ...]] = (".png", ".pdf", ".svg")
#: Resolution of pictures [dots per inch].
PNG_DPI: Final = 200
MM_PER_INCH: Final = 25.4
PT_PER_MM: Final = 72.0 / 25.4
#: Where the library that cuts fonts keeps its list of tables that it leaves out.
_DROPPED: Final = "_drop_tables_default"

_SETTINGS: Final[dict[str, Any]] = {
    "font.family": list(FAMILY),
    "font.size": LABEL_PT,
    "text.color": INK,
    "text.usetex": False,
    # A dollar sign in the name of a well is no formula.
    "text.parse_math": False,
    # Hinting fits letters to pixels, and their widths would depend on the resolution.
    "text.hinting": "none",
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": HAIR,
    "axes.labelsize": LABEL_PT,
    "axes.unicode_minus": True,
    "axes.formatter.useoffset": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": TICK_PT,
    "ytick.labelsize": TICK_PT,
    "lines.solid_capstyle": "round",
    "lines.dash_capstyle": "butt",
    "path.simplify": True,
    "path.simplify_threshold": 0.05,
    # TrueType letters: printers and publishers often refuse those of type 3 (common practice, no source).
    "pdf.fonttype": 42,
    "ps.fonttype": 42,  # which the PDF backend reads too when it numbers letters; else some get number 0
    "pdf.compression": 6,
    # Letters as outlines: a browser without the typeface would set others of another width.
    "svg.fonttype": "path",
    # Without a salt the ids of an SVG are random, and no two files equal.
    "svg.hashsalt": "gwnet",
    "savefig.facecolor": PAPER,
    # A tight box would change the size of the page, whose millimetres are reckoned.
    "savefig.bbox": None,
}


def _fonts_folder() -> Path:
    return Path(__file__).resolve().parents[1] / "fonts"


def _spare_folder() -> Path:
    return Path(mpl.get_data_path()) / "fonts" / "ttf"


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """Make the embedded typeface known to matplotlib; calling it again does nothing."""
    for path in sorted(_fonts_folder().glob("*.ttf")):
        font_manager.fontManager.addfont(str(path))


@lru_cache(maxsize=4)  # asked for every text that is measured
def font_files(*, bold: bool = False, italic: bool = False) -> tuple[str, str]:
    """Return the files of the typeface and of the one that lends missing letters."""
    own = "NotoSans-" + ("Bold" if bold else "") + ("Italic" if italic else "") + ("" if bold or italic else "Regular")
    spare = "DejaVuSans" + ("-" if bold or italic else "") + ("Bold" if bold else "") + ("Oblique" if italic else "")
    return str(_fonts_folder() / f"{own}.ttf"), str(_spare_folder() / f"{spare}.ttf")


@contextmanager
def style_context() -> Iterator[None]:
    """Hold the project's matplotlib settings for a while, whatever the user's are, and give the user's back."""
    register_fonts()
    # From the library's defaults on: settings of a user's own would show in reports.
    with mpl_style.context(["default", _SETTINGS]):
        yield


class ShownFigure(Figure):
    """A figure that a notebook shows by itself, whatever backend it has."""

    def _repr_png_(self) -> bytes:
        """Return the figure as a picture for a notebook."""
        return figure_bytes(self, "png")


def new_figure(size_mm: tuple[float, float]) -> Figure:
    """Return an empty figure of a size given in millimetres (width, height)."""
    width, height = size_mm
    # By hand and not by pyplot, which keeps every figure alive until somebody closes it.
    figure = ShownFigure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=100, facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def figure_bytes(
    figure: Figure, kind: str, *, letters: bool = False, metadata: dict[str, str | None] | None = None
) -> bytes:
    """Return a figure as bytes to be set into a page, the same for the same figure; `file_bytes` is for files.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Figure to write.
    kind : {"png", "pdf", "svg"}
        Kind of file.
    letters : bool, optional
        Whether an SVG keeps its text as letters, for a page that has the typeface; else they become outlines.
    metadata : dict of str to str or None, optional
        What the file says of itself, by the names of its kind.

    Returns
    -------
    bytes
        The file, without time and version stamps; letters of a PDF are embedded as TrueType.
    """
    usual: dict[str, dict[str, Any]] = {
        "png": {"Software": None},
        "pdf": {"Creator": "gwnet", "Producer": None, "CreationDate": None},
        "svg": {"Creator": "gwnet", "Date": None},
    }
    target = io.BytesIO()
    with style_context():
        options: dict[str, Any] = {"dpi": PNG_DPI} if kind == "png" else {}
        with mpl.rc_context({"svg.fonttype": "none"} if letters else {}), _without_shaping():
            figure.savefig(target, format=kind, metadata=metadata or usual[kind], **options)
    return target.getvalue()


@contextmanager
def _without_shaping() -> Iterator[None]:
    """Embed letters without the tables that shape text; the text of a figure is shaped, and they take half of the time.

    Where the library that cuts fonts keeps its list of such tables elsewhere, they are embedded as they were.
    """
    usual = getattr(Options, _DROPPED, None)
    if usual is None:
        yield
        return
    setattr(Options, _DROPPED, [*usual, "GDEF", "GPOS", "GSUB", "kern"])
    try:
        yield
    finally:
        setattr(Options, _DROPPED, usual)


def file_bytes(figure: Figure, kind: str) -> bytes:
    """Return a figure as the bytes of a file that stands by itself, the same for the same figure.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Figure to write.
    kind : {"png", "pdf", "svg"}
        Kind of file.

    Returns
    -------
    bytes
        The file, with title and record in its metadata; a PDF is PDF/A-3b, or plain with an
        `gwnet.errors.ArchivalWarning`.
    """
    words = describe(figure)
    if kind == "pdf":
        return archival_pages(figure_bytes(figure, "pdf"), words.pdf()).content
    return figure_bytes(figure, kind, metadata=words.png() if kind == "png" else words.svg())


def sheet_files(name: str, figure: Figure) -> dict[str, bytes]:
    """Return a sheet as the files of a product: PDF and PNG by file name."""
    return {f"{name}.{kind}": file_bytes(figure, kind) for kind in ("pdf", "png")}


def check_ending(path: Path) -> None:
    """Refuse a file that no figure can be saved as.

    Raises
    ------
    OutputError
        If its suffix is not .png, .pdf or .svg.
    """
    if path.suffix.lower() not in FILE_TYPES:
        ending = f"ends in {path.suffix!r}" if path.suffix else "has no ending"
        message = f"A figure can be saved as {', '.join(FILE_TYPES)}; the name {ending}."
        raise OutputError(message, where=str(path), fix="Give the file one of these endings.")


def save(figure: Figure, path: str | Path) -> Path:
    """Write a figure to a file; its suffix says which kind.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Figure to write.
    path : str or pathlib.Path
        File with the suffix .png, .pdf or .svg.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    OutputError
        If the suffix is another, or the file cannot be written.
    """
    target = Path(path)
    check_ending(target)
    content = file_bytes(figure, target.suffix.lower()[1:])
    (written,) = replace_files({target: content}, "figure")
    return written
