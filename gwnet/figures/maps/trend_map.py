"""Map of slopes: triangles that point the way levels go, sized by how fast, filled where a trend is significant."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from gwnet.errors import AnalysisError
from gwnet.figures.base import style
from gwnet.figures.base.axes import nice_step
from gwnet.figures.base.page import Box, KeyEntry, Page
from gwnet.figures.base.placement import Anchor, PlacedLabel, place_labels
from gwnet.figures.base.symbols import mark_symbol
from gwnet.figures.base.text import decimals_of_step, fit, number_text, plain, shown, text_width_pt
from gwnet.figures.maps.context import MapContext, MapHeading, Note, named_wells
from gwnet.figures.maps.frame import MapFrame, draw_frame, draw_label_box, draw_text, lay_out, with_notes
from gwnet.figures.maps.labels import choose_labelled, is_far
from gwnet.units import metres_per

_NAME_PT: Final = 7.0
_LINE_MM: Final = 2.95
_PAD_MM: Final = 0.3
_LONGEST_MM: Final = 24.0
_SIZE_MM: Final = (180.0, 170.0)
#: Sizes of the triangles: at the smallest slope and at the largest [pt].
_SIZES_PT: Final = (3.4, 12.5)
#: With more wells than this, only those with a trend are labelled. Project default.
_MOST_LABELS: Final = 70
#: Wells with more than so many others this near choose a place for their label after those that stand alone. [mm]
_CROWD_MM: Final = 7.0
_MOST_IN_CROWD: Final = 3
_ROOM_FOR_NAMES: Final = "x" * 120
#: Most unnamed wells that are listed. Project default.
_MOST_MISSING: Final = 15


@dataclass(frozen=True, slots=True)
class SlopePoint:
    """A well: where it is, its slope in the unit a year (NaN without one), and its direction."""

    name: str
    x: float
    y: float
    slope: float
    direction: str

    @property
    def is_significant(self) -> bool:
        """Whether the well has a slope and a significant trend."""
        return math.isfinite(self.slope) and self.direction in ("rising", "falling")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SlopeMapPlotData(MapHeading):
    """A map of slopes as plain numbers and sentences; coordinates in the site's system, slopes in the unit a year.

    Parameters
    ----------
    points : tuple of SlopePoint
        Wells with coordinates.
    largest : float
        Slope of the largest triangle, in the unit a year.
    notes : tuple of Note
        Text of the map.
    """

    points: tuple[SlopePoint, ...]
    largest: float
    notes: tuple[Note, ...]


def slope_map_plot_data(
    table: pd.DataFrame, wells: pd.DataFrame, context: MapContext, *, unit: str = "m", notes: Sequence[str] = ()
) -> SlopeMapPlotData:
    """Work out what a map of slopes shows.

    Parameters
    ----------
    table : pandas.DataFrame
        Trends frame in metres: well, slope_m_per_year, direction, n, first, last.
    wells : pandas.DataFrame
        Wells frame: well, easting, northing.
    context : MapContext
        Site and record.
    unit : {"m", "ft"}
        Unit of the slopes.
    notes : sequence of str, optional
        Further sentences of the text.

    Returns
    -------
    SlopeMapPlotData
        Plain numbers and sentences.

    Raises
    ------
    SettingsError
        If the unit is not a display unit.
    AnalysisError
        If no well has both a slope and coordinates.
    """
    heading = context.heading("Slopes of water levels", "", unit)
    places = wells.drop_duplicates("well").set_index("well")[["easting", "northing"]].astype(float)
    points = [
        SlopePoint(
            name=shown(row["well"]),
            x=float(places["easting"].get(row["well"], math.nan)),
            y=float(places["northing"].get(row["well"], math.nan)),
            slope=float(row["slope_m_per_year"]) / metres_per(unit),
            direction=plain(row["direction"]),
        )
        for row in table.to_dict("records")
    ]
    placed = tuple(point for point in points if math.isfinite(point.x) and math.isfinite(point.y))
    slopes = [abs(point.slope) for point in placed if math.isfinite(point.slope)]
    if not slopes:
        message = "No well has both a slope and coordinates, so no map of slopes can be drawn."
        raise AnalysisError(message, fix="Record coordinates, or take wells with longer records.")
    return SlopeMapPlotData(
        **heading,
        points=placed,
        # Not the very largest: one wild slope would make all other triangles alike.
        largest=max(float(np.quantile(slopes, 0.98)), 1e-4),
        notes=_notes(table, points, unit, (*notes, *context.known)),
    )


def _notes(table: pd.DataFrame, points: Sequence[SlopePoint], unit: str, more: Sequence[str]) -> tuple[Note, ...]:
    with_values = table[table["n"] > 0]
    counts = [sum(point.is_significant and point.direction == way for point in points) for way in ("rising", "falling")]
    counted = sum(math.isfinite(point.slope) for point in points)
    facts = (
        f"Theil–Sen slopes in {unit} a year, positive upward; levels of {with_values['first'].min()} to "
        f"{with_values['last'].max()}.",
        f"{counted} wells with a slope: {counts[0]} rising, {counts[1]} falling, {counted - sum(counts)} no "
        "significant trend at 5 % of the p adjusted for many wells (false-discovery control).",
        *more,
    )
    notes = [Note("Trends", facts)]
    without = [point.name for point in points if not math.isfinite(point.slope)]
    if without:
        notes.append(Note("Without a slope (dots)", (f"{named_wells(without)}.",), wells=(len(without),)))
    unplaced = [point.name for point in points if not (math.isfinite(point.x) and math.isfinite(point.y))]
    if unplaced:
        notes.append(Note("Without coordinates on record", (f"{named_wells(unplaced)}.",), wells=(len(unplaced),)))
    return tuple(notes)


def draw_slope_map(data: SlopeMapPlotData) -> Figure:
    """Draw the slopes of wells on a map.

    Parameters as `gwnet.figures`.
    """
    with style.style_context():
        page = Page(style.new_figure(_SIZE_MM))
        entries = _key(data)
        # A placeholder: the note is written when the labels have been tried, and needs its room before.
        names = [Note("Names", (_ROOM_FOR_NAMES,))] if len(data.points) > _MOST_LABELS else []
        extent = np.array([(point.x, point.y) for point in data.points])
        sheet = lay_out(page, extent, [*data.notes, *names], entries)
        axes = draw_frame(page, sheet, data)
        labels = _labels(data, sheet.frame)
        # Small over large, and significant over all, or they would be covered.
        for point in sorted(data.points, key=lambda candidate: (candidate.is_significant, -abs(candidate.slope))):
            x, y = sheet.frame.to_mm(np.array([[point.x, point.y]]))[0]
            axes.plot(
                [x], [y], linestyle="none", zorder=3.6 if point.is_significant else 3.2, **_look(point, data.largest)
            )
        for point, label in labels:
            if label is not None:
                _draw_label(axes, sheet.frame, point, label, data.unit)
        page.key(entries, sheet.key.left, sheet.key.top, sheet.key.width)
        draw_text(page, with_notes(sheet, [*data.notes, *_label_notes(data, labels)]))
    return page.figure


def _size(slope: float, largest: float) -> float:
    """Return the size of a triangle [pt]: its height grows with the slope."""
    low, high = _SIZES_PT
    return low + (high - low) * min(abs(slope) / largest, 1.0)


def _look(point: SlopePoint, largest: float) -> dict[str, Any]:
    if not math.isfinite(point.slope):
        return {"marker": "o", "markersize": 2.4, "markerfacecolor": style.SOFT, "markeredgewidth": 0.0}
    way = "^" if point.slope > 0 else "v" if point.slope < 0 else "o"
    look = {"marker": way, "markersize": _size(point.slope, largest)}
    color = style.WATER if point.slope > 0 else style.LIMIT
    if point.is_significant:
        return look | {"markerfacecolor": color, "markeredgecolor": style.PAPER, "markeredgewidth": 0.5}
    return look | {"markerfacecolor": style.PAPER, "markeredgecolor": color, "markeredgewidth": 0.8}


def _lines(point: SlopePoint, unit: str) -> tuple[str, ...]:
    name = fit(point.name, _LONGEST_MM * style.PT_PER_MM, _NAME_PT, bold=point.is_significant)
    if not math.isfinite(point.slope):
        return (name,)
    return name, number_text(point.slope, 3 if unit == "m" else 2, signed=True)


def _labels(data: SlopeMapPlotData, frame: MapFrame) -> list[tuple[SlopePoint, PlacedLabel | None]]:
    """Return labels for all wells where they are few, else for those with a trend, and of these as many as fit."""
    many = len(data.points) > _MOST_LABELS
    named = [point for point in data.points if point.is_significant or not many]
    every = frame.to_mm(np.array([(point.x, point.y) for point in data.points]))
    at = frame.to_mm(np.array([(point.x, point.y) for point in named]).reshape(-1, 2))
    chosen = choose_labelled(at, [point.slope for point in named], [False] * len(named), _MOST_LABELS)
    labelled = {point for point, wanted in zip(named, chosen, strict=True) if wanted}
    anchors, taken = [], []
    for point, (x, y) in zip(data.points, every, strict=True):
        radius = max(_look(point, data.largest)["markersize"] / 2 / style.PT_PER_MM, 0.5)
        if point not in labelled:
            taken.append(Box(float(x) - radius, float(y) - radius, 2 * radius, 2 * radius))
            continue
        lines = _lines(point, data.unit)
        width = (
            max(text_width_pt(line, _NAME_PT, bold=point.is_significant) for line in lines) / style.PT_PER_MM
            + 2 * _PAD_MM
        )
        height = len(lines) * _LINE_MM + _PAD_MM
        crowd = int((np.hypot(*(every - (x, y)).T) < _CROWD_MM).sum()) - 1
        # In a crowd a label has to go far anyway; those that stand alone keep the place beside them.
        rank = (0 if point.is_significant else 2) + (crowd > _MOST_IN_CROWD)
        anchors.append(Anchor(float(x), float(y), width, height, radius, rank=rank))
    panel = frame.panel
    room = Box(panel.left + 0.6, panel.bottom + 0.6, panel.width - 1.2, panel.height - 1.2)
    placed = dict(zip((p for p in data.points if p in labelled), place_labels(anchors, room, taken=taken), strict=True))
    labels = [placed.get(point) for point in named]
    return [(p, None if many and is_far(label) else label) for p, label in zip(named, labels, strict=True)]


def _label_notes(data: SlopeMapPlotData, labels: Sequence[tuple[SlopePoint, PlacedLabel | None]]) -> list[Note]:
    """Return a note on the wells that are not named."""
    missing = [point.name for point, label in labels if label is None]
    lines = ["Only wells with a trend are named."] if len(labels) < len(data.points) else []
    if len(missing) > _MOST_MISSING:
        lines.append(f"{len(missing)} wells are drawn without their name: see the ranked slopes.")
    elif missing:
        lines.append(f"No room for {', '.join(missing)}.")
    return [Note("Names", tuple(lines))] if lines else []


def _draw_label(axes: Axes, frame: MapFrame, point: SlopePoint, label: PlacedLabel, unit: str) -> None:
    x_point = float(frame.to_mm(np.array([[point.x, point.y]]))[0][0])
    ha, x = draw_label_box(axes, label, x_point, _PAD_MM)
    for i, line in enumerate(_lines(point, unit)):
        y = label.box.top - (i + 1) * _LINE_MM + 0.5
        weight, color = ("bold" if point.is_significant else "normal"), (style.INK if i == 0 else style.SOFT)
        axes.text(x, y, line, fontsize=_NAME_PT, color=color, weight=weight, ha=ha, va="baseline", zorder=3.8)


def _key(data: SlopeMapPlotData) -> list[KeyEntry]:
    kinds = {
        (point.slope > 0, point.is_significant)
        for point in data.points
        if math.isfinite(point.slope) and point.slope != 0
    }
    entries = []
    for rises, significant in ((True, True), (False, True), (True, False), (False, False)):
        if (rises, significant) in kinds:
            sample = SlopePoint("", 0, 0, 0.6 * data.largest * (1 if rises else -1), "rising" if significant else "")
            words = f"{'rising' if rises else 'falling'}{'' if significant else ', no significant trend'}"
            entries.append(KeyEntry(words, mark_symbol(**_look(sample, data.largest)), 3.6))
    if any(not math.isfinite(point.slope) for point in data.points):
        entries.append(KeyEntry("no slope", mark_symbol(**_look(SlopePoint("", 0, 0, math.nan, ""), 1.0))))
    step = nice_step(data.largest, 1)
    # The step is rounded up, and a sample larger than any triangle would explain nothing.
    step = step if step <= data.largest else nice_step(data.largest / 2.5, 1)
    for slope in (step / 2, step):
        sample = SlopePoint("", 0, 0, slope, "rising")
        look = _look(sample, data.largest) | {"markerfacecolor": style.RULE}
        text = f"{number_text(slope, decimals_of_step(step / 2))} {data.unit} a year"
        entries.append(KeyEntry(text, mark_symbol(**look), 4.6))
    return entries
