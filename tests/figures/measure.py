"""What a drawn figure says and where: texts and their boxes, measured by the renderer."""

from __future__ import annotations

from itertools import combinations

from matplotlib.text import Text

from gwnet.figures.base.page import Box
from gwnet.figures.base.style import style_context

MM_PER_INCH = 25.4


def texts_of(figure):
    """Return every visible text of a figure with its box on the page [mm]."""
    with style_context():
        return _measured(figure)


def _measured(figure):
    renderer = figure.canvas.get_renderer()
    figure.draw(renderer)
    scale = MM_PER_INCH / figure.dpi
    found = []
    for text in figure.findobj(Text):
        if not text.get_visible() or not text.get_text().strip():
            continue
        extent = text.get_window_extent(renderer)
        box = Box(extent.x0 * scale, extent.y0 * scale, extent.width * scale, extent.height * scale)
        found.append((text, box))
    return found


def overlapping(boxes):
    """Return the pairs of boxes that overlap, by their places."""
    return [
        (first, second)
        for (first, a), (second, b) in combinations(enumerate(boxes), 2)
        if min(a.right, b.right) - max(a.left, b.left) > 1e-9 and min(a.top, b.top) - max(a.bottom, b.bottom) > 1e-9
    ]


def words_of(figure):
    """Return the texts of a figure."""
    return [text.get_text() for text, _ in texts_of(figure)]


#: Height of a line's box beyond its letters, in the size of the type: of Noto Sans, whose box is 1.36 high (1.07 above
#: the base line, 0.29 below) and whose letters reach from -0.24 to 0.77.
_BOX_BEYOND_LETTERS = 0.35


def collisions(figure, *, along_mm=0.45):
    """Return the pairs of upright or level texts that overlap in both directions.

    The renderer's boxes reach from the highest to the lowest letter of the typeface, so that those of neighbouring
    lines overlap by a little; their letters meet only beyond a part of the smaller type.
    """
    level = [(text, box) for text, box in texts_of(figure) if text.get_rotation() % 90 == 0]
    pairs = []
    for i, (one, a) in enumerate(level):
        for other, b in level[i + 1 :]:
            across = min(a.right, b.right) - max(a.left, b.left)
            up = min(a.top, b.top) - max(a.bottom, b.bottom)
            smaller_mm = min(one.get_fontsize(), other.get_fontsize()) * MM_PER_INCH / 72.0
            beside_mm = _BOX_BEYOND_LETTERS * smaller_mm
            upright = (one.get_rotation() % 180 == 90, other.get_rotation() % 180 == 90)
            if upright == (True, True):
                met = across > beside_mm and up > along_mm
            elif upright == (False, False):
                met = across > along_mm and up > beside_mm
            else:
                met = across > along_mm and up > along_mm
            if met:
                pairs.append((one.get_text(), other.get_text()))
    return pairs


def beyond_page(figure, *, slack_mm=0.5):
    """Return the texts that reach beyond the edge of the page."""
    width, height = (float(side) * MM_PER_INCH for side in figure.get_size_inches())
    return [
        text.get_text()
        for text, box in texts_of(figure)
        if box.left < -slack_mm or box.bottom < -slack_mm or box.right > width + slack_mm or box.top > height + slack_mm
    ]
