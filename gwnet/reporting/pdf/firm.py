"""The firm that made a report, on its cover: logo, name and address."""

from __future__ import annotations

import io

from reportlab.lib.utils import ImageReader
from reportlab.platypus import Flowable

from gwnet.reporting.content import FirmBlock
from gwnet.reporting.pdf.fonts import BOLD, REGULAR
from gwnet.reporting.pdf.styles import INK, MM, QUIET, RULE, TEXT_WIDTH
from gwnet.reporting.pdf.tables import draw_text
from gwnet.reporting.pdf.tags import artifact, content

_SIZE, _LEADING = 9.0, 12.0


class FirmFlow(Flowable):  # type: ignore[misc]
    """Logo at the left, name and address beside it."""

    _LOGO_WIDTH = 45 * MM
    _LOGO_HEIGHT = 20 * MM

    def __init__(self, block: FirmBlock) -> None:
        super().__init__()
        self.block = block
        self.spaceBefore, self.spaceAfter = 16, 8
        self._picture = ImageReader(io.BytesIO(block.logo)) if block.logo else None
        self._size = (0.0, 0.0)
        if self._picture is not None:
            width, height = self._picture.getSize()
            scale = min(self._LOGO_WIDTH / width, self._LOGO_HEIGHT / height)
            self._size = (width * scale, height * scale)

    def wrap(self, _available_width: float, _available_height: float) -> tuple[float, float]:
        """Return the size of the block."""
        lines = bool(self.block.name) + len(self.block.address)
        self.width = TEXT_WIDTH
        self.height = max(self._size[1], lines * _LEADING) + 8
        return self.width, self.height

    def draw(self) -> None:
        """Draw a hairline, the logo and the lines."""
        canvas = self.canv
        with artifact(canvas):
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(0.4)
            canvas.line(0, self.height, TEXT_WIDTH, self.height)
        top, x = self.height - 8, 0.0
        if self._picture is not None:
            with artifact(canvas):
                # An artifact: to who listens, the name beside it says who made the report.
                canvas.drawImage(self._picture, 0, top - self._size[1], *self._size)
            x = self._size[0] + 6 * MM
        with content(canvas, "P"):
            self._draw_lines(x, top)

    def _draw_lines(self, x: float, y: float) -> None:
        canvas = self.canv
        for text, face, colour in (
            *([(self.block.name, BOLD, INK)] if self.block.name else []),
            *((line, REGULAR, QUIET) for line in self.block.address),
        ):
            y -= _LEADING
            canvas.setFillColor(colour)
            draw_text(canvas, x, y + 3, text, face, _SIZE)
