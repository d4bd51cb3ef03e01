"""Which letters of a PDF have no glyph of their own: its content is walked, and each code looked up in its font."""

import io
from functools import cache

import pikepdf
from fontTools.ttLib import TTFont


def missing_glyphs(content):
    """Return page, font and code of every shown letter that becomes the glyph .notdef, and how many were looked at."""
    missing, count = set(), 0
    with pikepdf.open(io.BytesIO(content)) as document:
        for number, page in enumerate(document.pages, start=1):
            for font, code, glyph in _shown(page.obj):
                count += 1
                if glyph == 0:
                    missing.add((number, font, code))
    return sorted(missing), count


def _shown(holder):
    resources = holder.get("/Resources", {})
    fonts, forms = resources.get("/Font", {}), resources.get("/XObject", {})
    font = None
    for operands, operator in pikepdf.parse_content_stream(holder):
        name = str(operator)
        if name == "Tf":
            font = fonts[str(operands[0])]
        elif name == "Do" and forms[str(operands[0])].get("/Subtype") == "/Form":
            yield from _shown(forms[str(operands[0])])
        elif name in ("Tj", "TJ", "'", '"'):
            strings = operands[-1] if name == "TJ" else [operands[-1]]
            for text in strings:
                if isinstance(text, pikepdf.String):
                    yield from _glyphs(font, bytes(text))


def _glyphs(font, text):
    name = str(font.BaseFont)
    if font.Subtype == "/Type0":
        descendant = font.DescendantFonts[0]
        table = descendant.get("/CIDToGIDMap", "/Identity")
        table = None if table == "/Identity" else table.read_bytes()
        for i in range(0, len(text), 2):
            code = int.from_bytes(text[i : i + 2], "big")
            yield name, code, code if table is None else int.from_bytes(table[2 * code : 2 * code + 2], "big")
    else:
        numbers = _numbers(font.FontDescriptor.FontFile2.read_bytes())
        for code in text:
            yield name, code, numbers.get(code, 0)


@cache
def _numbers(program):
    """Return the glyph number of each code of a simple TrueType font: its symbol or Macintosh table."""
    font = TTFont(io.BytesIO(program))
    numbers = {}
    for table in font["cmap"].tables:
        for code, glyph in table.cmap.items():
            numbers.setdefault(code & 0xFF if table.platformID == 3 else code, font.getGlyphID(glyph))
    return numbers
