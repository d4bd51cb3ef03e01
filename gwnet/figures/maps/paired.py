"""Maps of two days side by side, at one scale and with one extent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.figure import Figure

from gwnet.figures.base import style
from gwnet.figures.base.page import Box, KeyEntry, Page, Words, block_height_mm, key_height_mm
from gwnet.figures.base.text import fit
from gwnet.figures.maps.context import MapHeading, Note
from gwnet.figures.maps.data import MapPlotData
from gwnet.figures.maps.frame import MapFrame, draw_bar, fill_panel, panel_axes, write_heading
from gwnet.figures.maps.marks import key_entries
from gwnet.figures.maps.surface_map import draw_panel, extent_of

#: Size of the sheet: A4 on its side less margins [mm].
PAIR_SIZE_MM: Final = (267.0, 180.0)

_TITLE_MM: Final = 11.0
_HEAD_MM: Final = 7.6
_TICKS_MM: Final = 4.8
_BAR_MM: Final = 9.5
_GAP_MM: Final = 7.0
#: Sizes of letters that the text may be set in [pt], the first that fits, and how much of the sheet it may take.
_TEXT_PT: Final = (6.3, 5.8, 5.2, 4.8)
_MOST_TEXT: Final = 0.34


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PairPlotData(MapHeading):
    """Maps of two days as plain numbers and sentences.

    Parameters
    ----------
    maps : tuple of MapPlotData
        The earlier and the later map.
    heads : tuple of str
        Line above each map: its day and its gradient.
    notes : tuple of Note
        What is said of both: how the directions differ.
    """

    maps: tuple[MapPlotData, MapPlotData]
    heads: tuple[str, str]
    notes: tuple[Note, ...]


def draw_paired_maps(data: PairPlotData) -> Figure:
    """Draw maps of two days side by side.

    Parameters as `gwnet.figures`.
    """
    with style.style_context():
        page = Page(style.new_figure(PAIR_SIZE_MM))
        write_heading(page, data, 1.0, page.width - 2.0)
        entries = _entries(data)
        columns, size, texts = _text(page, data)
        bar_width = 58.0
        strip = max(_BAR_MM, key_height_mm(entries, page.width - bar_width - 12.0))
        strip_top = columns[0].top + 2.5 + strip
        bottom, top = strip_top + _TICKS_MM, page.height - _TITLE_MM - _HEAD_MM
        width = (page.width - _GAP_MM - 2 * _TICKS_MM - 1.0) / 2
        # One extent and one scale for both: maps of their own size could not be laid over each other by eye.
        extent = np.vstack([extent_of(sheet) for sheet in data.maps])
        missing: list[Note] = []
        for i, sheet in enumerate(data.maps):
            left = _TICKS_MM + i * (width + _GAP_MM + _TICKS_MM - 1.0)
            frame = fill_panel(Box(left, bottom, width, top - bottom), extent)
            _head(page, frame, data.heads[i])
            missing += draw_panel(panel_axes(page, frame), frame, sheet)
        bar = Box(1.0, strip_top - _BAR_MM, bar_width, _BAR_MM)
        draw_bar(page, bar, frame, data)
        page.key(entries, bar_width + 8.0, strip_top, page.width - bar_width - 12.0)
        if missing:
            # Set again with what found no room on the maps, which is known only now.
            columns, size, texts = _text(page, data, missing)
        for box, words in zip(columns, texts, strict=True):
            page.block(words, box.left, box.top, box.width, size)
    return page.figure


def _head(page: Page, frame: MapFrame, text: str) -> None:
    """Write the day of a map in bold and its gradient below."""
    day, _, rest = text.partition("\n")
    left, room = frame.panel.left, frame.panel.width * style.PT_PER_MM
    page.text(
        left, frame.panel.top + 4.3, fit(day, room, style.LABEL_PT, bold=True), size=style.LABEL_PT, weight="bold"
    )
    page.text(left, frame.panel.top + 1.3, fit(rest, room, style.NOTE_PT), color=style.SOFT)


def _entries(data: PairPlotData) -> list[KeyEntry]:
    """Return the key of both maps, each entry once."""
    entries: dict[str, KeyEntry] = {}
    for sheet in data.maps:
        for entry in key_entries(sheet):
            entries.setdefault(entry.label, entry)
    return list(entries.values())


def _text(
    page: Page, data: PairPlotData, missing: Sequence[Note] = ()
) -> tuple[tuple[Box, ...], float, tuple[list[Words], ...]]:
    """Return three columns of text, what is said of both maps, of the first and of the second, in letters that fit."""
    width = (page.width - 2.0 - 2 * 5.0) / 3
    parts: list[Sequence[Note]] = [(*data.notes, *missing)]
    parts += [sheet.notes for sheet in data.maps]
    heads = ("", *(head.partition("\n")[0] for head in data.heads))
    most = _MOST_TEXT * page.height
    for size in _TEXT_PT:
        texts = tuple(_words(notes, head) for notes, head in zip(parts, heads, strict=True))
        height = max(block_height_mm(words, width, size) for words in texts)
        if height <= most:
            break
    else:
        texts = tuple(_shortened(words, width, size, most) for words in texts)
        height = most
    columns = tuple(Box(1.0 + i * (width + 5.0), 1.0, width, height) for i in range(3))
    return columns, size, texts


def _words(notes: Sequence[Note], head: str) -> list[Words]:
    words: list[Words] = []
    for note in notes:
        title = f"{note.title}, {head}" if head else note.title
        words.append(Words(title, bold=True, gap_mm=1.0 if words else 0.0))
        words += [Words(line) for line in note.lines]
    return words


def _shortened(words: list[Words], width: float, size: float, most: float) -> list[Words]:
    """Return the paragraphs that fit, and how many more there are."""
    kept = list(words)
    # From the end: what is said of both maps and their cautions stands first.
    while kept and block_height_mm([*kept, Words("…", bold=True)], width, size) > most:
        kept.pop()
    if len(kept) == len(words):
        return kept
    return [*kept, Words(f"… and {len(words) - len(kept)} more paragraphs; see the single map.", bold=True)]
