"""The typeface of reports: one embedded family, with a second face for letters that the first lacks."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

import matplotlib
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR: Final = "GwnetText"
BOLD: Final = "GwnetText-Bold"
ITALIC: Final = "GwnetText-Italic"
_BOLD_ITALIC: Final = "GwnetText-BoldItalic"
_SPARE: Final = "GwnetSpare"
_SPARE_BOLD: Final = "GwnetSpare-Bold"

_OWN_FILES: Final = {
    REGULAR: "NotoSans-Regular.ttf",
    BOLD: "NotoSans-Bold.ttf",
    ITALIC: "NotoSans-Italic.ttf",
    _BOLD_ITALIC: "NotoSans-BoldItalic.ttf",
}


def _own_folder() -> Path:
    return Path(__file__).resolve().parents[2] / "figures" / "fonts"


def _spare_folder() -> Path:
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """Make the typefaces known to the PDF library; calling it again does nothing."""
    own, spare = _own_folder(), _spare_folder()
    for face, name in _OWN_FILES.items():
        pdfmetrics.registerFont(TTFont(face, str(own / name)))
    pdfmetrics.registerFont(TTFont(_SPARE, str(spare / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(_SPARE_BOLD, str(spare / "DejaVuSans-Bold.ttf")))
    # Registered alone, a face stands for its own bold and italic, and markup would change nothing.
    for bold, italic, face in ((0, 0, REGULAR), (1, 0, BOLD), (0, 1, ITALIC), (1, 1, _BOLD_ITALIC)):
        addMapping(REGULAR, bold, italic, face)


@lru_cache(maxsize=8)
def _letters(face: str) -> frozenset[int]:
    register_fonts()
    return frozenset(pdfmetrics.getFont(face).face.charToGlyph)


def _face_of(character: str, face: str) -> tuple[str, str]:
    """Return the face that has a character, and what to print for it."""
    code = ord(character)
    if character in "\n\r\t\u2028\u2029":
        return face, " "
    # Python makes lone surrogates of file names that are not UTF-8; encoding one raises an error.
    if code < 32 or 127 <= code < 160 or 0xD800 <= code < 0xE000:
        return _face_of("\ufffd", face)
    if code in _letters(face):
        return face, character
    spare = _SPARE_BOLD if face in (BOLD, _BOLD_ITALIC) else _SPARE
    if code in _letters(spare):
        return spare, character
    return face, f"[U+{code:04X}]"


@lru_cache(maxsize=20_000)
def runs(text: str, face: str = REGULAR) -> tuple[tuple[str, str], ...]:
    """Split a text into runs of one face each.

    A letter that the face lacks is taken from the spare face; one that neither has is printed as its code point,
    such as ``[U+4E95]``, so that nothing disappears. Line breaks and tabs become blanks.

    Parameters
    ----------
    text : str
        Any text.
    face : str
        The wanted face.

    Returns
    -------
    tuple of tuple of str
        Face and piece of text, in order.
    """
    # The face has all of ASCII; this is nearly every text, and spares a look at each letter.
    if text.isascii() and text.isprintable():
        return ((face, text),)
    pieces: list[tuple[str, str]] = []
    for character in text:
        used, shown = _face_of(character, face)
        if pieces and pieces[-1][0] == used:
            pieces[-1] = (used, pieces[-1][1] + shown)
        else:
            pieces.append((used, shown))
    return tuple(pieces)


def printable(text: str, face: str = REGULAR) -> str:
    """Return a text as it will appear: code points for letters that no face has, blanks for line breaks and tabs."""
    return "".join(piece for _, piece in runs(text, face))


def text_width(text: str, face: str, size: float) -> float:
    """Return the width of a text [pt], spare letters included."""
    register_fonts()
    return float(sum(pdfmetrics.stringWidth(piece, used, size) for used, piece in runs(text, face)))


def markup(text: str, face: str = REGULAR) -> str:
    """Return a text as escaped paragraph markup, with spare faces where letters need them."""
    pieces = []
    for used, piece in runs(text, face):
        shown = escape(piece)
        pieces.append(shown if used == face else f'<font name="{used}">{shown}</font>')
    return "".join(pieces)
