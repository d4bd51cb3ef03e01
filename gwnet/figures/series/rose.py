"""Gradients of many rounds: a rose of direction and size, and both over the years."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.axes import date_ticks, day_number, nice_step, round_ticks
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm, key_height_mm
from gwnet.figures.base.symbols import mark_symbol
from gwnet.figures.base.text import decimals_of_step, fit, number_text, shown
from gwnet.figures.maps.context import Note

#: Width of the figure, and its height without notes [mm].
ROSE_SIZE_MM: Final = (180.0, 104.0)

QUARTERS: Final = ("January to March", "April to June", "July to September", "October to December")

#: Marks of the quarters: shapes that differ, dark and light in turn.
_LOOKS: Final[tuple[dict[str, Any], ...]] = (
    {"marker": "o", "markersize": 4.6, "markerfacecolor": style.INK, "markeredgecolor": style.INK},
    {"marker": "^", "markersize": 5.2, "markerfacecolor": "#B9C4CC", "markeredgecolor": style.INK},
    {"marker": "s", "markersize": 4.2, "markerfacecolor": style.SERIES, "markeredgecolor": style.INK},
    {"marker": "D", "markersize": 4.0, "markerfacecolor": "#7A868F", "markeredgecolor": style.INK},
)
_EDGE: Final = 0.6
_ROSE_MM: Final = 78.0
_TITLE_MM: Final = 11.0
_CROWDED: Final = 40


@dataclass(frozen=True, slots=True)
class RosePoint:
    """The gradient of one round.

    Parameters
    ----------
    label : str
        Code of the round, or its day.
    date : datetime.date
        Day.
    magnitude, half_width : float
        Size and its 95 % half-width; NaN for not known [m/m].
    azimuth_deg, azimuth_half_width_deg : float
        Direction of flow, clockwise from grid north, and its 95 % half-width [degrees].
    determined : bool
        Whether size and direction are determined.
    finding : bool
        Whether a well of the round does not fit its neighbours.
    """

    label: str
    date: dt.date
    magnitude: float
    half_width: float
    azimuth_deg: float
    azimuth_half_width_deg: float
    determined: bool
    finding: bool = False

    @property
    def quarter(self) -> int:
        """Return the quarter of the year, from 0."""
        return (self.date.month - 1) // 3


@dataclass(frozen=True, slots=True)
class RosePlotData:
    """Gradients of many rounds as plain numbers and sentences.

    Parameters
    ----------
    title, subtitle : str
        Heading.
    points : tuple of RosePoint
        In order of time.
    middle_deg : float
        Direction that the axis of directions is centred on [degrees].
    notes : tuple of Note
        Text below the figure.
    """

    title: str
    subtitle: str
    points: tuple[RosePoint, ...]
    middle_deg: float
    notes: tuple[Note, ...]


def rose_plot_data(
    points: Sequence[RosePoint],
    *,
    title: str,
    subtitle: str = "",
    middle_deg: float = math.nan,
    concentration: float = math.nan,
    without: Sequence[tuple[str, str]] = (),
    facts: Sequence[str] = (),
) -> RosePlotData:
    """Work out what a rose shows.

    Parameters
    ----------
    points : sequence of RosePoint
        Rounds with a gradient, in order of time.
    title, subtitle : str
        Heading.
    middle_deg, concentration : float, optional
        Circular mean of the directions that are determined, and its concentration [degrees].
    without : sequence of tuple of str, optional
        Rounds without a gradient, each with the reason.
    facts : sequence of str, optional
        Further sentences: wells, velocity, record as known.

    Returns
    -------
    RosePlotData
        Plain numbers and sentences.
    """
    determined = [point for point in points if point.determined]
    what = "days" if all(point.label == point.date.isoformat() for point in points) else "rounds"
    lines = [f"{len(points)} {what} with a gradient, {len(determined)} of them determined; bars are 95 % half-widths."]
    if determined and math.isfinite(middle_deg):
        lines.append(_spread_text(determined, middle_deg, concentration))
    lines += [shown(fact) for fact in facts]
    notes = [Note("Gradients", tuple(lines))]
    undetermined = [point.label for point in points if not point.determined]
    if undetermined:
        lines = [f"{', '.join(map(shown, undetermined))}."]
        if any(point.magnitude > _longest(points) for point in points if not point.determined):
            lines.append("Those whose size lies beyond the scale stand at its edge.")
        notes.append(Note("Size and direction not determined (hollow)", tuple(lines)))
    flagged = [point.label for point in points if point.finding]
    if flagged:
        names = ", ".join(map(shown, flagged))
        text = f"{names}: a well does not fit its neighbours; the table gives the gradient without it."
        notes.append(Note("Findings (†)", (text,)))
    if without:
        reasons: dict[str, list[str]] = {}
        for label, reason in without:
            reasons.setdefault(shown(reason), []).append(shown(label))
        notes.append(Note("No gradient", tuple(f"{', '.join(names)}: {why}" for why, names in reasons.items())))
    # Directions are unwound about it: without a mean any round will do.
    centre = middle_deg if math.isfinite(middle_deg) else (points[0].azimuth_deg if points else 0.0)
    return RosePlotData(shown(title), shown(subtitle), tuple(points), centre, tuple(notes))


def _spread_text(determined: Sequence[RosePoint], middle_deg: float, concentration: float) -> str:
    """Return how the directions lie about each other; no mean where they turn about."""
    sizes = [point.magnitude for point in determined]
    spread = f"sizes {min(sizes):.2g} to {max(sizes):.2g} m/m"
    # A mean of directions that lie all around points somewhere by chance. Project default.
    if concentration < 0.7:
        return f"Directions are spread all around (concentration {concentration:.2f}), so no mean is given; {spread}."
    turns = [_from_middle(point.azimuth_deg, middle_deg) for point in determined]
    low, high = round(middle_deg + min(turns)) % 360, round(middle_deg + max(turns)) % 360
    return (
        f"Directions {low}° to {high}°, clockwise from grid north, about {round(middle_deg) % 360}° "
        f"(concentration {concentration:.2f}); {spread}."
    )


def _from_middle(azimuth_deg: float, middle_deg: float) -> float:
    return 180.0 - (180.0 - (azimuth_deg - middle_deg)) % 360.0


def draw_rose(data: RosePlotData) -> Figure:
    """Draw gradients of many rounds: the rose, and direction and size over the years.

    Parameters as `gwnet.figures`.
    """
    words = [
        word
        for i, note in enumerate(data.notes)
        for word in (Words(note.title, bold=True, gap_mm=0.0 if i == 0 else 1.0), *(Words(line) for line in note.lines))
    ]
    with style.style_context():
        width = ROSE_SIZE_MM[0]
        text = block_height_mm(words, width - 2.0, style.NOTE_PT)
        page = Page(style.new_figure((width, ROSE_SIZE_MM[1] + text + 2.0)))
        page.text(1.0, page.height - 4.2, fit(data.title, 500.0, style.TITLE_PT, bold=True), size=style.TITLE_PT)
        page.figure.texts[-1].set_fontweight("bold")
        page.text(1.0, page.height - 8.4, data.subtitle, size=style.LABEL_PT, color=style.SOFT)
        entries = _key(data)
        key_height = key_height_mm(entries, page.width - 2.0)
        top = page.height - _TITLE_MM
        bottom = text + 2.0 + key_height + 3.0
        side = min(_ROSE_MM, top - bottom)
        _draw_rose(page, data, Box(1.0, top - side, side, side))
        left = side + 20.0
        height = (top - bottom - 14.0) / 2
        upper = Box(left, bottom + height + 13.0, page.width - left - 2.0, height - 4.0)
        lower = Box(left, bottom + 6.0, page.width - left - 2.0, height - 1.0)
        _draw_directions(page, data, upper)
        _draw_sizes(page, data, lower)
        page.key(entries, 1.0, text + 2.0 + key_height + 1.0, page.width - 2.0)
        page.block(words, 1.0, text + 0.8, page.width - 2.0, style.NOTE_PT)
    return page.figure


def _look(point: RosePoint) -> dict[str, Any]:
    look = _LOOKS[point.quarter] | {"markeredgewidth": _EDGE}
    return look if point.determined else look | {"markerfacecolor": style.PAPER, "markeredgecolor": style.SOFT}


def _key(data: RosePlotData) -> list[KeyEntry]:
    """Return the key of what is shown, and of nothing else."""
    quarters = sorted({point.quarter for point in data.points})
    entries = [KeyEntry(QUARTERS[q], mark_symbol(**_LOOKS[q] | {"markeredgewidth": _EDGE})) for q in quarters]
    if any(not point.determined for point in data.points):
        hollow = _LOOKS[quarters[0]] | {"markerfacecolor": style.PAPER, "markeredgecolor": style.SOFT}
        entries.append(KeyEntry("not determined (hollow)", mark_symbol(**hollow | {"markeredgewidth": _EDGE})))
    return entries


def _longest(points: Sequence[RosePoint]) -> float:
    """Return the largest size that is drawn: of what is determined, with its bar; of the rest only where nothing is."""
    determined = [point for point in points if point.determined]
    # An undetermined size is mostly its own error, and would set the scale.
    reach = [point.magnitude + (point.half_width if point.determined else 0.0) for point in determined or points]
    return max([value for value in reach if math.isfinite(value)], default=1e-3) or 1e-3


def _draw_rose(page: Page, data: RosePlotData, box: Box) -> None:
    """Draw circles of size, the points of the compass, and each round with its bars."""
    axes = page.axes(box)
    axes.set_axis_off()
    reach = _longest(data.points)
    step = nice_step(reach, 4)
    # To half a step, so that the rose fills its square.
    limit = math.ceil(reach / (step / 2) - 1e-9) * step / 2
    rings = math.floor(limit / step + 1e-9)
    axes.set_xlim(-1.2 * limit, 1.2 * limit)
    axes.set_ylim(-1.2 * limit, 1.2 * limit)
    turn = np.radians(np.linspace(0.0, 360.0, 181))
    for ring in range(1, rings + 1):
        size = ring * step
        axes.plot(size * np.sin(turn), size * np.cos(turn), color=style.GRID, linewidth=style.HAIR, zorder=0.5)
    axes.plot(limit * np.sin(turn), limit * np.cos(turn), color=style.RULE, linewidth=style.THIN, zorder=0.5)
    for degrees in range(0, 360, 30):
        east, north = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))
        axes.plot([0, limit * east], [0, limit * north], color=style.GRID, linewidth=style.HAIR, zorder=0.4)
        main = degrees % 90 == 0
        axes.text(
            1.1 * limit * east,
            1.1 * limit * north,
            {0: "N", 90: "E", 180: "S", 270: "W"}.get(degrees, f"{degrees}°"),
            fontsize=style.LABEL_PT if main else style.NOTE_PT,
            weight="bold" if main else "normal",
            color=style.INK if main else style.SOFT,
            ha="center",
            va="center",
        )
    _ring_labels(axes, data, step, rings)
    bar = {"color": style.SOFT, "linewidth": style.HAIR, "alpha": 0.55 if len(data.points) > _CROWDED else 0.9}
    for point in data.points:
        _draw_point(axes, point, bar, limit)


def _ring_labels(axes: Axes, data: RosePlotData, step: float, rings: int) -> None:
    """Write the sizes of the circles along the direction that is farthest from all rounds."""
    turned = [point.azimuth_deg for point in data.points]
    free = max(
        (15, 75, 105, 165, 195, 255, 285, 345), key=lambda d: min(abs(_from_middle(t, d)) for t in [*turned, d - 180])
    )
    east, north = math.sin(math.radians(free)), math.cos(math.radians(free))
    for ring in range(1, rings + 1):
        text = number_text(ring * step, decimals_of_step(step)) + (" m/m" if ring == rings else "")
        axes.text(
            ring * step * east,
            ring * step * north,
            text,
            fontsize=style.NOTE_PT,
            color=style.SOFT,
            ha="center",
            va="center",
            zorder=0.8,
            bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.6},
        )


def _draw_point(axes: Axes, point: RosePoint, bar: dict[str, Any], limit: float) -> None:
    """Draw a round; one that is not determined and lies beyond the scale stands at the rim."""
    east, north = math.sin(math.radians(point.azimuth_deg)), math.cos(math.radians(point.azimuth_deg))
    if point.determined:
        low, high = point.magnitude - point.half_width, point.magnitude + point.half_width
        axes.plot([low * east, high * east], [low * north, high * north], zorder=1.5, **bar)
        width = point.azimuth_half_width_deg
        arc = np.radians(np.linspace(point.azimuth_deg - width, point.azimuth_deg + width, 31))
        axes.plot(point.magnitude * np.sin(arc), point.magnitude * np.cos(arc), zorder=1.5, **bar)
    size = min(point.magnitude, limit)
    axes.plot([size * east], [size * north], linestyle="none", zorder=3 if point.determined else 2.5, **_look(point))


def _time_axis(axes: Axes, data: RosePlotData, *, labels: bool) -> None:
    days = [day_number(point.date) for point in data.points] or [0.0]
    margin = max(0.03 * (max(days) - min(days)), 20.0)
    first, last = min(days) - margin, max(days) + margin
    axes.set_xlim(first, last)
    ticks = date_ticks(first, last, 8)
    axes.set_xticks([tick.days for tick in ticks], [tick.label if labels else "" for tick in ticks])
    axes.tick_params(length=1.6, width=style.HAIR, pad=1.6, labelsize=style.NOTE_PT)
    axes.tick_params(labelfontfamily=list(style.FAMILY))
    axes.grid(axis="y", color=style.GRID, linewidth=style.HAIR)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _series(
    page: Page, data: RosePlotData, box: Box, value: Callable[[RosePoint], float], width: Callable[[RosePoint], float]
) -> Axes:
    """Draw one value of every round over time, with its bar where it is determined."""
    axes = page.axes(box)
    for point in data.points:
        day, at = day_number(point.date), value(point)
        if point.determined:
            axes.plot(
                [day, day], [at - width(point), at + width(point)], color=style.SOFT, linewidth=style.HAIR, zorder=1.5
            )
        axes.plot([day], [at], linestyle="none", zorder=3 if point.determined else 2.5, **_look(point))
        if point.finding:
            axes.annotate(
                "†", (day, at), (2.6, 1.2), textcoords="offset points", fontsize=6, color=style.LIMIT, zorder=4
            )
    return axes


def _draw_directions(page: Page, data: RosePlotData, box: Box) -> None:
    """Draw the direction over time, unwound about its middle so that 359° and 1° stand together."""
    middle = data.middle_deg

    def unwound(point: RosePoint) -> float:
        return middle + _from_middle(point.azimuth_deg, middle)

    axes = _series(page, data, box, unwound, lambda point: point.azimuth_half_width_deg)
    _time_axis(axes, data, labels=False)
    low, high = axes.get_ylim()
    # Bars of a hardly determined direction may be wider than the circle.
    low, high = max(low, middle - 185.0), min(high, middle + 185.0)
    # A few degrees across the whole height would look like a turn.
    if high - low < 30.0:
        low, high = 0.5 * (low + high) - 15.0, 0.5 * (low + high) + 15.0
    axes.set_ylim(low, high)
    step = next(s for s in (5, 10, 15, 30, 45, 90) if (high - low) / s <= 6 or s == 90)
    ticks = round_ticks(low, high, float(step))
    axes.set_yticks(ticks, [f"{round(tick) % 360}°" for tick in ticks])
    page.text(box.left - 11.0, box.top + 1.6, "Direction of flow, clockwise from grid north", size=style.LABEL_PT)


def _draw_sizes(page: Page, data: RosePlotData, box: Box) -> None:
    high = 1.06 * _longest(data.points)
    axes = _series(page, data, box, lambda point: min(point.magnitude, 0.96 * high), lambda point: point.half_width)
    _time_axis(axes, data, labels=True)
    axes.set_ylim(0.0, high)
    step = nice_step(high, 6)
    ticks = round_ticks(0.0, high, step)
    axes.set_yticks(ticks, [number_text(tick, decimals_of_step(step)) for tick in ticks])
    page.text(box.left - 11.0, box.top + 1.6, "Gradient, m/m", size=style.LABEL_PT)
