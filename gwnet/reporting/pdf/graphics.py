"""What tables draw beside numbers: bars from zero, and rings with their limits, on one scale for a column."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from gwnet.reporting.content import Cell, Group, Table
from gwnet.reporting.pdf.fonts import REGULAR, text_width
from gwnet.reporting.pdf.styles import ACCENT, CELL_SIZE, FALL, HAIR, INK, MM, PAPER, QUIET, TREND

#: Room for bars and for rings with their limits [pt].
BAR_PT: Final = 20.0 * MM
INTERVAL_PT: Final = 76.0 * MM
_BAR_HEIGHT: Final = 6.6
_RING: Final = 2.2
#: Limits this many times as far from zero as half of the others are cut off, and end in an arrow.
_FAR: Final = 2.5


@dataclass(frozen=True, slots=True)
class GraphicScale:
    """Ends of the scale of a column, in the unit of its numbers, and the ticks that are written above it."""

    low: float
    high: float
    ticks: tuple[float, ...] = ()

    def place(self, value: float, left: float, width: float) -> float:
        """Return where a value is between the ends of the room, cut off at them."""
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return left + share * width


def graphic_scale(table: Table, index: int) -> GraphicScale | None:
    """Return the scale of a column that draws something; None for others."""
    column = table.columns[index]
    if not column.graphic:
        return None
    cells = [row[index] for row in table.rows if not isinstance(row, Group)]
    values = [_number(cell) for cell in cells if _is_number(cell)]
    if column.graphic == "bar":
        # Faint values get no bar, so they must not shorten those of the others.
        values = [_number(cell) for cell in cells if _is_number(cell) and not cell.faint]
        # Bars start at zero, which the scale therefore holds even where all values have one sign.
        low, high = min([0.0, *values]), max([0.0, *values])
        return GraphicScale(low, high) if high > low else None
    ends = [end for cell in cells if cell.limits for end in cell.limits if math.isfinite(end)]
    sizes = sorted(abs(end) for end in (*values, *ends))
    if not sizes or sizes[-1] == 0.0:
        return None
    # One well with very wide limits would press the rings of all others together.
    most = _FAR * sizes[len(sizes) // 2]
    kept = [end for end in (*values, *ends) if abs(end) <= most] or values
    low, high = min([0.0, *kept]), max([0.0, *kept])
    step = _round_step(high - low)
    # Room for half a ring or an arrow at the ends.
    low, high = low - 0.06 * (high - low), high + 0.06 * (high - low)
    ticks = tuple(number * step for number in range(math.ceil(low / step), math.floor(high / step) + 1))
    return GraphicScale(low, high, ticks)


def _is_number(cell: Cell) -> bool:
    return isinstance(cell.value, int | float) and math.isfinite(cell.value)


def _number(cell: Cell) -> float:
    assert isinstance(cell.value, int | float)
    return float(cell.value)


def _round_step(span: float) -> float:
    power = 10.0 ** math.floor(math.log10(span / 3.0))
    # The factor 10 makes sure of an answer: ten times the power is more than a third of the span.
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= span / 4.0)


def draw_bar(canvas: Any, cell: Cell, scale: GraphicScale, left: float, middle: float) -> None:
    """Draw a bar from zero, dark for a rise and pale with an outline for a fall; none for a faint value."""
    zero = scale.place(0.0, left, BAR_PT - 4.0)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.8)
    if _is_number(cell) and not cell.faint and cell.value:
        value = _number(cell)
        end = scale.place(value, left, BAR_PT - 4.0)
        canvas.setFillColor(ACCENT if value > 0 else FALL)
        canvas.setStrokeColor(ACCENT)
        canvas.setLineWidth(0.6)
        canvas.rect(min(zero, end), middle - _BAR_HEIGHT / 2, abs(end - zero), _BAR_HEIGHT, stroke=1, fill=1)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.8)
    if _is_number(cell):
        canvas.line(zero, middle - _BAR_HEIGHT / 2 - 1.2, zero, middle + _BAR_HEIGHT / 2 + 1.2)


def draw_interval(canvas: Any, cell: Cell, scale: GraphicScale, left: float, middle: float) -> None:
    """Draw a ring at the value with its limits; a limit beyond the scale ends in an arrow."""
    if not _is_number(cell):
        return
    width = INTERVAL_PT - 8.0
    canvas.setStrokeColor(TREND)
    canvas.setFillColor(TREND)
    canvas.setLineWidth(1.2)
    if cell.limits and all(math.isfinite(end) for end in cell.limits):
        ends = [scale.place(end, left, width) for end in cell.limits]
        canvas.line(ends[0], middle, ends[1], middle)
        for end, limit, way in zip(ends, cell.limits, (-1.0, 1.0), strict=True):
            if scale.low <= limit <= scale.high:
                canvas.line(end, middle - 2.4, end, middle + 2.4)
                continue
            arrow = canvas.beginPath()
            arrow.moveTo(end + way * 3.0, middle)
            arrow.lineTo(end - way * 2.0, middle + 2.6)
            arrow.lineTo(end - way * 2.0, middle - 2.6)
            arrow.close()
            canvas.drawPath(arrow, stroke=0, fill=1)
    canvas.setStrokeColor(INK)
    canvas.setFillColor(INK if cell.filled else PAPER)
    canvas.circle(scale.place(_number(cell), left, width), middle, _RING, stroke=1, fill=1)


def draw_ticks(canvas: Any, scale: GraphicScale, left: float, baseline: float, bottom: float, top: float) -> None:
    """Write the ticks of a scale of limits above its column, and a line for each down to its end."""
    width = INTERVAL_PT - 8.0
    for tick in scale.ticks:
        x = scale.place(tick, left, width)
        canvas.setStrokeColor(INK if tick == 0.0 else HAIR)
        canvas.setLineWidth(0.6)
        canvas.line(x, bottom, x, top)
        text = f"{tick:+.10g}".replace("-", "−") if tick else "0"
        canvas.setFillColor(QUIET)
        canvas.setFont(REGULAR, CELL_SIZE)
        canvas.drawString(x - text_width(text, REGULAR, CELL_SIZE) / 2, baseline, text)
