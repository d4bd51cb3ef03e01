"""Opening logger files with the layout that fits: a named one, or the one that looking at the file proposes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gwnet.errors import LayoutError
from gwnet.ingest.loggers.layout import Layout, load_layout
from gwnet.ingest.loggers.rows import LoggerFile, open_logger_file

#: What stands for the layout that looking at the file proposes.
AUTO: Final = "auto"


@dataclass(frozen=True)
class Opening:
    """Opens logger files; called with the path of one.

    Attributes
    ----------
    layout : str, pathlib.Path or Layout
        The layout, its name or its file; ``auto`` for what looking proposes.
    zone : str
        Zone to take where neither the layout nor the file says one.
    only : str
        Which well or instrument to read, where the layout has a column that says it.
    quantity : str
        Read this quantity alone; empty for all.
    say : callable or None
        Called with what was proposed.
    """

    layout: str | Path | Layout = AUTO
    zone: str = ""
    only: str = ""
    quantity: str = ""
    say: Callable[[str], None] | None = None

    def __call__(self, path: Path) -> LoggerFile:
        """Open a file; see `gwnet.ingest.loggers.rows.open_logger_file`."""
        layout = self._proposed(path) if self.layout == AUTO else self.layout
        chosen = layout if isinstance(layout, Layout) else load_layout(layout)
        file = open_logger_file(path, chosen, zone=self.zone, only=self.only, quantity=self.quantity)
        if self.layout == AUTO and self.say is not None:
            self.say(_describe(file))
        return self._with_what_was_given(file)

    def _with_what_was_given(self, file: LoggerFile) -> LoggerFile:
        """Keep what was given beside the layout in the layout that goes on record, so that it reads the same again."""
        layout = file.layout
        if self.zone and not layout.zone and file.plan.zone == self.zone:
            layout = replace(layout, zone=self.zone)
        if self.only:
            layout = replace(layout, select_value=self.only)
        file.plan = replace(file.plan, layout=layout)
        return file

    def _proposed(self, path: Path) -> Layout:
        """Return the layout that looking at a file proposes, where it leaves no doubt."""
        from gwnet.ingest.loggers.guess import propose_layout

        proposal = propose_layout(path, zone=self.zone, only=self.only, quantity=self.quantity)
        if proposal.doubts:
            doubts = "; ".join(doubt.rstrip(".") for doubt in proposal.doubts)
            message = f"Looking at the file leaves doubts about its layout: {doubts}."
            fix = "See 'gwnet logger try FILE', save the layout it proposes, and load with --layout LAYOUT.toml."
            raise LayoutError(message, where=path.name, fix=fix)
        layout: Layout = proposal.layout
        return layout


def _describe(file: LoggerFile) -> str:
    """Return what looking at a file gave, in one line."""
    columns = ", ".join(f"{column.quantity} [{column.unit}]" for column in file.columns)
    zone = "with their offsets" if file.zone == "in each stamp" else f"in {file.zone}"
    formats = " ".join((*file.layout.formats, *file.layout.clock_formats))
    return f"{file.name}: looking at it gives times {formats} {zone}; {columns}. 'gwnet logger try' says why."
