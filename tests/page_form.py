"""The form of a PDF's pages: how much of them is inked, how large the letters are, and which of them meet.

Pictures and boxes of words come from poppler's programs (Debian: poppler-utils); sizes of letters from the content.
"""

from __future__ import annotations

import io
import math
import re
import subprocess
from collections import Counter
from dataclasses import dataclass

import numpy as np
import pikepdf
from PIL import Image

MM = 72.0 / 25.4
_WORD = re.compile(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)</word>')
_PAGE = re.compile(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', re.DOTALL)
#: Part of a word's box that letters without tails fill, from its top.
_LETTERS = (0.30, 0.74)


@dataclass(frozen=True)
class Word:
    """A word of a page with the box of its letters [mm], from the upper left corner of the page."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True)
class Ink:
    """How a page is inked: part of its rows with ink, of its cells, and how far down the body the lowest ink is."""

    rows: float
    cells: float
    lowest: float


def letter_sizes(content):
    """Return how many letters of each page have which size [pt], a counter a page."""
    with pikepdf.open(io.BytesIO(content)) as document:
        return [_sizes(page.obj, np.eye(3), document) for page in document.pages]


def _sizes(holder, outer, document):
    found = Counter()
    forms = holder.get("/Resources", {}).get("/XObject", {})
    state, stack = outer, []
    size, matrix = 0.0, np.eye(3)
    for operands, operator in pikepdf.parse_content_stream(holder):
        name = str(operator)
        if name == "q":
            stack.append(state)
        elif name == "Q":
            state = stack.pop()
        elif name == "cm":
            state = _matrix(operands) @ state
        elif name == "BT":
            matrix = np.eye(3)
        elif name == "Tf":
            size = float(operands[1])
        elif name == "Tm":
            matrix = _matrix(operands)
        elif name == "Do" and forms[str(operands[0])].get("/Subtype") == "/Form":
            form = forms[str(operands[0])]
            own = _matrix(form.get("/Matrix", [1, 0, 0, 1, 0, 0])) @ state
            found += _sizes(form, own, document)
        elif name in ("Tj", "TJ"):
            scale = math.sqrt(abs(np.linalg.det((matrix @ state)[:2, :2])))
            parts = operands[0] if name == "TJ" else operands
            found[round(size * scale, 1)] += sum(len(bytes(part)) for part in parts if isinstance(part, pikepdf.String))
    return found


def _matrix(numbers):
    a, b, c, d, e, f = (float(number) for number in numbers)
    return np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]])


def words_of_pages(path):
    """Return the words of each page of a PDF."""
    text = subprocess.run(["pdftotext", "-bbox", str(path), "-"], check=True, capture_output=True, text=True).stdout
    pages = []
    for _, _, body in _PAGE.findall(text):
        words = []
        for left, top, right, bottom, word in _WORD.findall(body):
            x0, y0, x1, y1 = (float(edge) / MM for edge in (left, top, right, bottom))
            height = y1 - y0
            words.append(Word(word, x0, y0 + _LETTERS[0] * height, x1, y0 + _LETTERS[1] * height))
        pages.append(words)
    return pages


def meeting_words(words, *, least_mm=0.25):
    """Return the pairs of words of a page whose letters meet by more than a least length both ways."""
    order = sorted(words, key=lambda word: word.left)
    pairs = []
    for place, one in enumerate(order):
        for other in order[place + 1 :]:
            across = min(one.right, other.right) - other.left
            if across <= least_mm:
                if other.left > one.right:
                    break
                continue
            if min(one.bottom, other.bottom) - max(one.top, other.top) > least_mm:
                pairs.append((one.text, other.text))
    return pairs


def ink_of_pages(path, folder, *, dpi=150):
    """Return the ink of each page of a PDF: rows of 5 mm, cells of 5 mm and the lowest ink of its body."""
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", str(path), str(folder / "page")], check=True)
    pages = []
    for picture in sorted(folder.glob("page*.pgm")):
        with Image.open(picture) as opened:
            grey = np.asarray(opened)
        picture.unlink()
        pages.append(_ink(grey, dpi))
    return pages


def _ink(grey, dpi):
    height_mm = grey.shape[0] / dpi * 25.4
    top, bottom = 18.0, height_mm - 16.0
    body = grey[round(top / 25.4 * dpi) : round(bottom / 25.4 * dpi), round(18 / 25.4 * dpi) : round(-18 / 25.4 * dpi)]
    dark = body < 200
    cell = 5.0 / 25.4 * dpi
    rows = [dark[round(i * cell) : round((i + 1) * cell)] for i in range(int(dark.shape[0] / cell))]
    cells = [
        part[:, round(j * cell) : round((j + 1) * cell)].any()
        for part in rows
        for j in range(int(dark.shape[1] / cell))
    ]
    inked = np.flatnonzero(dark.any(axis=1))
    lowest = float(inked[-1] + 1) / dark.shape[0] if inked.size else 0.0
    return Ink(float(np.mean([part.any() for part in rows])), float(np.mean(cells)), lowest)
