"""Sets what the first page has and no other: the numbered results, and the key map with the particulars beside it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from reportlab.platypus import Flowable

from gwnet.reporting.content import Beside, Results
from gwnet.reporting.drawing import KEY_MAP_LEAST_MM, KEY_MAP_MOST_MM
from gwnet.reporting.pdf.blocks import FigureFlow
from gwnet.reporting.pdf.fonts import BOLD, markup
from gwnet.reporting.pdf.marks import MARK, draw_state
from gwnet.reporting.pdf.styles import BODY, FACT_NAME, FACT_VALUE, HEADING, INK, MM, QUIET, RULE, TEXT_WIDTH
from gwnet.reporting.pdf.tables import draw_text
from gwnet.reporting.pdf.tags import TaggedParagraph, artifact, content

_TALL: Final = 10_000.0
_INDENT: Final = 13.0 * MM
_MARKS_LEFT: Final = 6.5 * MM
#: Space around the key map, and under each of the particulars of the report.
_BESIDE_BEFORE: Final = 6.0
_BESIDE_AFTER: Final = 4.0
_PAIR_GAP: Final = 2.4


class ResultsFlow(Flowable):  # type: ignore[misc]
    """Results numbered in order of consequence, each with the marks of the states that it is about."""

    _PAD = 2.0

    def __init__(self, block: Results) -> None:
        super().__init__()
        self.block = block
        self.spaceBefore, self.spaceAfter = 4, 6
        self._title = TaggedParagraph(markup(block.title, BOLD), HEADING)
        # Below the title of the document, which is H1.
        self._title.tag = "H2"
        self._items = [
            TaggedParagraph(f'<font name="{BOLD}">{markup(item.lead, BOLD)}</font> {markup(item.text)}', BODY)
            for item in block.items
        ]

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the list."""
        self.width = TEXT_WIDTH
        self._title_height = self._title.wrap(TEXT_WIDTH, _TALL)[1] + 3.0
        heights = [item.wrap(TEXT_WIDTH - _INDENT, _TALL)[1] for item in self._items]
        self.height = self._title_height + sum(height + 2 * self._PAD for height in heights) + 2.0
        return self.width, self.height

    def draw(self) -> None:
        """Draw the results, a line between two."""
        canvas, y = self.canv, self.height - self._title_height
        self._title.drawOn(canvas, 0, y + 3.0)
        self._rule(y, 0.9, 0.0)
        for number, (result, item) in enumerate(zip(self.block.items, self._items, strict=True), start=1):
            y -= self._PAD
            baseline = y - BODY.fontSize - 1.0
            with content(canvas, "Lbl"):
                canvas.setFillColor(QUIET)
                draw_text(canvas, 0, baseline, str(number), BOLD, BODY.fontSize)
            with artifact(canvas):
                for place, name in enumerate(result.marks):
                    draw_state(canvas, name, _MARKS_LEFT, baseline - 1.4 - place * (MARK + 2.6))
            y -= item.height
            item.drawOn(canvas, _INDENT, y)
            y -= self._PAD
            if number < len(self._items):
                self._rule(y, 0.5, _INDENT)

    def _rule(self, y: float, thickness: float, left: float) -> None:
        with artifact(self.canv):
            self.canv.setStrokeColor(RULE if left else INK)
            self.canv.setLineWidth(thickness)
            self.canv.line(left, y, TEXT_WIDTH, y)


class BesideFlow(Flowable):  # type: ignore[misc]
    """A figure of the whole width, names with values set in its right part, and under it those that find no room."""

    def __init__(self, figure: FigureFlow, block: Beside) -> None:
        super().__init__()
        self.figure, self.block = figure, block
        self.spaceBefore, self.spaceAfter = _BESIDE_BEFORE, _BESIDE_AFTER
        self._beside, self._below = _facts(block)

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return the size of figure and text."""
        beside, self._under = _facts_heights(self.block, self._beside, self._below)
        self.width, height = self.figure.wrap(available_width, available_height)
        self.height = max(height, beside) + self._under
        return self.width, self.height

    def draw(self) -> None:
        """Draw all three."""
        self.figure.drawOn(self.canv, 0, self.height - self.figure.height)
        y = self.height - self.block.top_mm * MM
        for name, value in self._beside:
            for part in (name, value):
                y -= part.height
                part.drawOn(self.canv, self.block.left_mm * MM, y)
            y -= _PAIR_GAP
        y = self._under - _PAIR_GAP
        for line in self._below:
            y -= line.height
            line.drawOn(self.canv, 0, y)
            y -= _PAIR_GAP


def fitted_beside(block: Beside, room: float) -> Beside:
    """Return a block whose figure takes what its text leaves of a room.

    As few pairs as possible go under the figure: those that do not fit right of it.

    Parameters
    ----------
    block : Beside
        The block; one of a figure that has one size stays.
    room : float
        Height that the block may take, with the space around it [pt].
    """
    if block.resize is None:
        return block
    room -= _BESIDE_BEFORE + _BESIDE_AFTER
    height = KEY_MAP_LEAST_MM * MM
    below = len(block.pairs)
    # From none on: as few lines as possible go under the figure, where they take its height.
    for count in range(len(block.pairs) + 1):
        tried = replace(block, below=count)
        beside, under = _facts_heights(tried, *_facts(tried))
        left = min(room - under, KEY_MAP_MOST_MM * MM)
        if left >= max(KEY_MAP_LEAST_MM * MM, beside):
            height, below = left, count
            break
    # Rounded down: a figure that is higher by a fraction would be moved to the next page.
    return replace(block, below=below, figure=replace(block.figure, pdf=block.resize(math.floor(height / MM))))


_Pairs = list[tuple[TaggedParagraph, TaggedParagraph]]


def _facts(block: Beside) -> tuple[_Pairs, list[TaggedParagraph]]:
    """Return names with values that are set right of the figure, and the lines under it."""
    count = len(block.pairs) - block.below
    beside = [
        (TaggedParagraph(markup(name), FACT_NAME), TaggedParagraph(markup(value), FACT_VALUE))
        for name, value in block.pairs[:count]
    ]
    return beside, [TaggedParagraph(markup(f"{name}: {value}"), FACT_VALUE) for name, value in block.pairs[count:]]


def _facts_heights(block: Beside, beside: _Pairs, below: list[TaggedParagraph]) -> tuple[float, float]:
    """Return the heights of the text right of the figure, from the top of the figure, and of the text under it."""
    right = sum(part.wrap(TEXT_WIDTH - block.left_mm * MM, _TALL)[1] for line in beside for part in line)
    under = sum(line.wrap(TEXT_WIDTH, _TALL)[1] + _PAIR_GAP for line in below)
    return right + _PAIR_GAP * len(beside) + block.top_mm * MM, under + (_PAIR_GAP if below else 0.0)
