"""Opening logger files with the layout that fits: a named one, a remembered one, or the one that looking proposes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gwnet.errors import LayoutError
from gwnet.ingest.loggers.layout import Layout, load_layout
from gwnet.ingest.loggers.plan import serial_of
from gwnet.ingest.loggers.remembered import Known
from gwnet.ingest.loggers.rows import LoggerFile, open_logger_file
from gwnet.ingest.loggers.text import read_head
from gwnet.ingest.loggers.words import QUANTITIES

#: What stands for the layout that looking at the file proposes.
AUTO: Final = "auto"


@dataclass(frozen=True)
class Opening:
    """Opens logger files; called with the path of one.

    Attributes
    ----------
    layout : str, pathlib.Path or Layout
        The layout, its name or its file; ``auto`` for the one that the instrument's files were read with before, or
        else for what looking proposes.
    zone : str
        Zone to take where neither the layout nor the file says one.
    only : str
        Which well or instrument to read, where the layout has a column that says it.
    quantity : str
        Read this quantity alone; empty for all.
    say : callable or None
        Called with what was proposed.
    known : callable or None
        Gives what is on record about instruments and their files; nothing is remembered without it.
    instrument : str or None
        Instrument that the files are of, where it is given.
    repeated_hour : str
        ``first`` or ``second``: of which hour a time that was twice is where nothing shows it; empty for what the
        layout says.
    """

    layout: str | Path | Layout = AUTO
    zone: str = ""
    only: str = ""
    quantity: str = ""
    say: Callable[[str], None] | None = None
    known: Callable[[], Known] | None = None
    instrument: str | None = None
    repeated_hour: str = ""

    def __call__(self, path: Path) -> LoggerFile:
        """Open a file; see `gwnet.ingest.loggers.rows.open_logger_file`."""
        if self.layout == AUTO:
            known = self.known() if self.known is not None else None
            try:
                # Files of an instrument go on being read alike, even where looking at one would give something else.
                return self._remembered(path, known) or self._with_what_was_given(self._proposed(path, known))
            except LayoutError:
                # where its rows are at fault, they are what to say something about
                broken = self._remembered(path, known, must_read=False)
                if broken is None:
                    raise
                return broken
        chosen = self.layout if isinstance(self.layout, Layout) else load_layout(self.layout)
        return self._with_what_was_given(self._opened(path, chosen, self.quantity))

    def _opened(self, path: Path, layout: Layout, quantity: str) -> LoggerFile:
        return open_logger_file(path, layout, zone=self.zone, only=self.only, quantity=quantity)

    def _remembered(self, path: Path, known: Known | None, *, must_read: bool = True) -> LoggerFile | None:
        """Open a file with the layout that a file of its instrument was read with before; None where none fits."""
        if known is None:
            return None
        asked = {"zone": self.zone, "only": self.only}
        before = known.choose(path, self.instrument, **asked, must_read=must_read)
        if before is None:
            return None
        quantity = self.quantity
        file = self._opened(path, before.layout, quantity)
        # Its lone column was loaded under another name before, by --series; it is so again.
        if not quantity and not before.quantities & {column.quantity for column in file.columns}:
            file = self._opened(path, before.layout, next(iter(before.quantities)))
        if self.say is not None:
            self.say(f"{file.name}: read with the layout of {before.file}, loaded for {before.instrument} before.")
        return self._with_what_was_given(file)

    def _with_what_was_given(self, file: LoggerFile) -> LoggerFile:
        """Keep what was given beside the layout in the layout that goes on record, so that it reads the same again."""
        layout = file.layout
        if self.zone and not layout.zone and file.plan.zone == self.zone:
            layout = replace(layout, zone=self.zone)
        if self.only:
            layout = replace(layout, select_value=self.only)
        if self.repeated_hour:
            layout = replace(layout, repeated_hour=self.repeated_hour)
        file.plan = replace(file.plan, layout=layout)
        return file

    def _proposed(self, path: Path, known: Known | None) -> LoggerFile:
        """Open a file with the layout that looking at it proposes, where it leaves no doubt."""
        from gwnet.ingest.loggers.guess import NO_ZONE, propose_layout

        asked = {"zone": self.zone, "only": self.only, "quantity": self.quantity}
        proposal = propose_layout(path, **asked)
        code = self._instrument(path, proposal.layout, known)
        more = {"pressure": self._pressure(proposal.layout, known, code)}
        if known is not None:
            more["length_unit"] = known.length_unit_of(code)
            more["zone"] = known.fixed_zone_of(code) if NO_ZONE in proposal.doubts else ""
        given = {name: value for name, value in more.items() if value}
        # A second look, as the instrument is known only once the layout shows where its serial number is.
        if given:
            proposal = propose_layout(path, **{**asked, **given})
        if proposal.doubts:
            doubts = "; ".join(doubt.rstrip(".") for doubt in proposal.doubts)
            message = f"Looking at the file leaves doubts about its layout: {doubts}."
            fix = "See 'gwnet logger try FILE', save the layout it proposes, and load with --layout LAYOUT.toml."
            raise LayoutError(message, where=path.name, fix=fix)
        layout = proposal.layout
        if "zone" in given:
            # the site's clock, as for every time without an offset; it goes on record with the layout
            layout = replace(layout, zone=given["zone"])
        file = self._opened(path, layout, self.quantity)
        if self.say is not None:
            self.say(_describe(file) + (" The zone is that of the site." if "zone" in given else ""))
        return file

    def _instrument(self, path: Path, layout: Layout, known: Known | None) -> str:
        """Return the instrument that a file is of: as given, or by its serial number or name; empty where unknown."""
        if known is None or self.instrument is not None:
            return self.instrument or ""
        try:
            serial = serial_of(layout, read_head(path, layout.encoding, layout.sheet))
        except LayoutError:
            serial = None  # the layout is not whole yet
        return known.instrument_of(serial, path.name)

    def _pressure(self, layout: Layout, known: Known | None, code: str) -> str:
        """Return what the pressure in a file is by the kind of its instrument on record; empty where nothing says."""
        has_pressure = any(QUANTITIES[rule.quantity] == "pressure" for rule in layout.columns)
        if known is None or self.quantity or not has_pressure:
            return ""
        return known.pressure_of(code)


def _describe(file: LoggerFile) -> str:
    """Return what looking at a file gave, in one line."""
    columns = ", ".join(f"{column.quantity} [{column.unit}]" for column in file.columns)
    zone = "with their offsets" if file.zone == "in each stamp" else f"in {file.zone}"
    formats = " ".join((*file.layout.formats, *file.layout.clock_formats))
    return f"{file.name}: looking at it gives times {formats} {zone}; {columns}. 'gwnet logger try' says why."
