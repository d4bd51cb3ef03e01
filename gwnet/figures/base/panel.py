"""Panels of statistics figures: axes in millimetres, a level axis, a time axis, titles; and pages as files."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.archive import archival_pages
from gwnet.figures.base.axes import date_ticks, nice_step, round_ticks
from gwnet.figures.base.described import describe
from gwnet.figures.base.page import Box, Page
from gwnet.figures.base.text import decimals_of_step, fit, number_text, plain, shown, text_width_pt
from gwnet.whole_files import replace_files

#: Room left of a panel for the ticks and label of its level axis [mm].
LEFT_AXIS_MM: Final = 16.0
_TITLE_MM: Final = 5.4
#: Part of a group's panels that its common height holds, and by what a panel may exceed it. Project defaults.
_COMMON_PART: Final = 0.9
_LITTLE_LARGER: Final = 1.1
#: Room for a label of the time axis [mm].
_LABEL_MM: Final = 14.0


def days_of(dates: Any) -> Any:
    """Return dates as days since 1970-01-01."""
    return ((pd.DatetimeIndex(pd.to_datetime(list(dates))) - pd.Timestamp(0)) / pd.Timedelta(days=1)).to_numpy(float)


def site_text(site: Mapping[str, Any] | pd.Series | None) -> str:
    """Return the name of a site as a heading shows it; its code where it has no name."""
    if site is None:
        return ""
    return shown(plain(site.get("name")) or plain(site.get("site")))


def approved_sentence(review: Any) -> str:
    """Return the sentence that tells how many of some levels are approved.

    Examples
    --------
    >>> approved_sentence(["approved", "provisional", "provisional"])
    '1 of 3 levels approved, the others provisional.'
    """
    states = [str(state) for state in review]
    approved = states.count("approved")
    if not states:
        return ""
    if approved == len(states):
        return "All levels approved."
    return (
        f"{approved} of {len(states)} levels approved, the others provisional."
        if approved
        else "No level approved yet."
    )


def draw_title(page: Page, box: Box, name: str, rest: str) -> float:
    """Write the name of a panel and what it shows; return the height used [mm]."""
    x, y = box.left + LEFT_AXIS_MM, box.top - 3.9
    room = (box.right - x - 1.0) * style.PT_PER_MM
    # Six tenths at most: a long name of a well must leave room for what the panel shows.
    head = fit(name, room * 0.6, style.TITLE_PT, bold=True)
    page.text(x, y, head, size=style.TITLE_PT, weight="bold")
    used = text_width_pt(head, style.TITLE_PT, bold=True) + 7.0
    page.text(
        x + used / style.PT_PER_MM,
        y,
        fit(rest, room - used, style.LABEL_PT),
        size=style.LABEL_PT,
        color=style.SOFT,
    )
    return _TITLE_MM


def centred_limits(low: float, high: float, height: float) -> tuple[float, float]:
    """Return the ends of a vertical axis of a height, or one that holds low and high, at round numbers.

    The same height gives axes of the same height wherever low and high lie.
    """
    # Half a tick: limits at ticks alone would leave up to a tick of empty height.
    step = nice_step(height, 8) / 2
    whole = math.ceil(height / step - 1e-9) * step
    below = math.floor(((low + high) / 2 - whole / 2) / step + 0.5) * step
    while below > low:
        below, whole = below - step, whole + step
    while below + whole < high:
        whole += step
    return below, below + whole


def common_height(heights: Sequence[float], least: float) -> float:
    """Return the height that panels of a group share: that of nine in ten of them, and never less than the least."""
    return max(float(np.quantile(heights, _COMMON_PART)) if len(heights) > 1 else float(heights[0]), least)


def times_height(wanted: float, common: float) -> int:
    """Return how many common heights a panel needs: 1, 2, 5, 10 and so on; one that is a little larger still is 1.

    Examples
    --------
    >>> [times_height(wanted, 2.0) for wanted in (1.0, 2.1, 3.0, 9.0, 21.0)]
    [1, 1, 2, 5, 20]
    """
    ratio = wanted / common
    if ratio <= _LITTLE_LARGER:
        return 1
    power = 10 ** max(math.floor(math.log10(ratio)), 0)
    return int(next(step * power for step in (1, 2, 5, 10) if step * power >= ratio))


def level_axis(
    page: Page,
    axes: Axes,
    box: Box,
    low: float,
    high: float,
    *,
    label: str = "",
    second: str = "",
    every_mm: float = 6.0,
) -> None:
    """Give axes a vertical scale with round ticks, and a label left of them in one or two lines."""
    axes.set_ylim(low, high)
    step = nice_step(high - low, max(int(box.height / every_mm), 2))
    ticks = round_ticks(low, high, step)
    axes.set_yticks(ticks, [number_text(tick, decimals_of_step(step)) for tick in ticks])
    axes.tick_params(axis="y", length=2.0, width=style.HAIR, pad=2.0, labelfontfamily=list(style.FAMILY))
    axes.grid(visible=True, axis="y", color=style.GRID, linewidth=style.HAIR)
    # Grid lines under the data, or they cut through marks.
    axes.set_axisbelow(True)
    upright_label(page, box, label, second)


def upright_label(page: Page, box: Box, label: str, second: str = "") -> None:
    """Write the label of a vertical axis in one or two lines left of its ticks, each fitted to the height."""
    room, middle, x = (box.height + 2.0) * style.PT_PER_MM, box.bottom + box.height / 2, box.left - LEFT_AXIS_MM + 2.9
    size = style.LABEL_PT
    # Smaller letters before words are cut; below the size of notes nobody reads them.
    while text_width_pt(label, size) > room and size > style.NOTE_PT:
        size -= 0.3
    page.text(x, middle, label, size=size, rotation=90, ha="center", va="center")
    text = fit(second, room, style.NOTE_PT)
    if text:
        page.text(x + 2.9, middle, text, size=style.NOTE_PT, rotation=90, ha="center", va="center", color=style.SOFT)


def time_axis_mm(first: float, last: float, width: float) -> float:
    """Return the height that the labels of a time axis take [mm]."""
    ticks = date_ticks(first, last, max(int(width / _LABEL_MM), 2))
    return 7.9 if any("\n" in tick.label for tick in ticks) else 4.6


def time_axis(axes: Axes, first: float, last: float, width: float, *, named: bool = True) -> None:
    """Give axes a horizontal scale of dates: days since 1970-01-01, labelled as there is room for."""
    ticks = date_ticks(first, last, max(int(width / _LABEL_MM), 2))
    majors = [tick for tick in ticks if tick.label]
    axes.set_xlim(first, last)
    axes.set_xticks([tick.days for tick in majors], [tick.label if named else "" for tick in majors])
    axes.set_xticks([tick.days for tick in ticks if not tick.label], minor=True)
    axes.tick_params(axis="x", length=2.6, width=style.HAIR, pad=1.8, labelfontfamily=list(style.FAMILY))
    axes.tick_params(axis="x", which="minor", length=1.4, width=style.HAIR)
    axes.grid(visible=True, axis="x", color=style.GRID, linewidth=style.HAIR)


def save_all(wanted: Sequence[tuple[Sequence[Figure], Path]]) -> list[Path]:
    """Write several figures, each with its pages: all of them or none.

    Parameters
    ----------
    wanted : sequence of tuple
        Pages and file of each: the pages of one PDF, or pictures, further ones as ``name-2.png`` and so on.

    Returns
    -------
    list of pathlib.Path
        Files written, in order.

    Raises
    ------
    OutputError
        If a suffix is another, or a file cannot be written; nothing is left behind then.
    """
    contents: dict[Path, bytes] = {}
    for figures, path in wanted:
        contents |= _contents(figures, path)
    return replace_files(contents, "figure")


def _contents(figures: Sequence[Figure], path: Path) -> dict[Path, bytes]:
    """Return the files of a figure with their bytes."""
    kind = path.suffix.lower()
    style.check_ending(path)
    # A picture has no pages.
    if kind == ".pdf" and len(figures) > 1:
        return {path: _pdf_pages(figures)}
    names = [path, *(path.with_name(f"{path.stem}-{i}{path.suffix}") for i in range(2, len(figures) + 1))]
    return {name: style.file_bytes(figure, kind[1:]) for name, figure in zip(names, figures, strict=True)}


def _pdf_pages(figures: Sequence[Figure]) -> bytes:
    target = io.BytesIO()
    # None leaves an entry out: the library would write its version and the clock.
    metadata: dict[str, Any] = {"Creator": "gwnet", "Producer": None, "CreationDate": None}
    with style.style_context(), PdfPages(target, metadata=metadata) as pages:
        for figure in figures:
            pages.savefig(figure)
    return archival_pages(target.getvalue(), describe(figures[0]).pdf()).content
