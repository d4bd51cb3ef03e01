"""The figures of a report drawn in several processes at once; the same bytes whatever their number.

Figures wait as functions in the content tree; the process is copied (fork), so that nothing is sent but the drawn
bytes. No function may use the database connection: everything that it draws was fetched before. Where a process cannot
be copied, one draws.
"""

from __future__ import annotations

import multiprocessing
import sys
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from typing import Final

from gwnet.reporting.content import Block, Cover, DrawnFigure, FigureSlot, Report, figure_of, with_figure

#: Fewer figures than this are drawn one after another: starting processes would cost more.
_LEAST_FIGURES: Final = 4

#: What the processes draw; they are copies of this one, so that nothing needs to be sent to them.
_waiting: list[FigureSlot] = []


def with_figures(report: Report, *, processes: int = 1, progress: Callable[[int, int], None] | None = None) -> Report:
    """Return a report whose figures are drawn.

    Parameters
    ----------
    report : Report
        Content; figures that are drawn already stay.
    processes : int
        How many processes draw at once. One is used where the system cannot copy a process.
    progress : callable, optional
        Called with figures drawn and figures in all.
    """
    waiting = [figure for figure in report.figures() if not isinstance(figure.pdf, bytes)]
    drawn: dict[str, DrawnFigure] = {}
    for figure, content in zip(waiting, _drawn(waiting, processes), strict=True):
        drawn[figure.key] = content
        if progress is not None:
            progress(len(drawn), len(waiting))

    def with_content(block: Block) -> Block:
        figure = figure_of(block)
        if figure is None or figure.key not in drawn:
            return block
        return with_figure(block, replace(figure, pdf=drawn[figure.key].pdf, svg=drawn[figure.key].svg))

    sections = tuple(
        replace(section, blocks=tuple(with_content(block) for block in section.blocks)) for section in report.sections
    )
    return replace(report, cover=Cover(tuple(with_content(block) for block in report.cover.blocks)), sections=sections)


def _drawn(waiting: list[FigureSlot], processes: int) -> Iterator[DrawnFigure]:
    """Yield the figures in their order."""
    workers = min(processes, len(waiting))
    if workers < 2 or len(waiting) < _LEAST_FIGURES or not _can_copy_processes():
        yield from (figure.drawn() for figure in waiting)
        return
    with _set_out(waiting), warnings.catch_warnings():
        # Copying a process that has threads is warned of by newer Pythons; the threads of the numerical libraries are
        # idle here and are made anew in the copy.
        warnings.simplefilter("ignore", DeprecationWarning)
        with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("fork")) as pool:
            yield from pool.map(_draw, range(len(waiting)))


def _can_copy_processes() -> bool:
    """Tell whether a process can be copied safely; not on macOS, whose own libraries forbid it."""
    return "fork" in multiprocessing.get_all_start_methods() and sys.platform != "darwin"


@contextmanager
def _set_out(waiting: list[FigureSlot]) -> Iterator[None]:
    _waiting[:] = waiting
    try:
        yield
    finally:
        _waiting.clear()


def _draw(place: int) -> DrawnFigure:
    return _waiting[place].drawn()
