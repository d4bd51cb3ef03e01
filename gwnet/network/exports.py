"""Exchange: the record, or a part of it, in open formats."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd

from gwnet.errors import SettingsError
from gwnet.network.base import Group, Instant, Moment, Wells, codes_of, day_or_instant
from gwnet.records import Selection


class Exports(Group):
    """Exports of the record in open formats."""

    _path = "net.export"

    def __call__(
        self,
        format: str,
        path: str | Path,
        *,
        wells: Wells = None,
        aquifer: str | None = None,
        start: Moment = None,
        end: Moment = None,
        site: str | None = None,
        known_on: Instant = None,
        unit: str = "m",
        replace: bool = False,
        progress: Callable[[int, int], None] | None = None,
    ) -> Path:
        """Write the record, or a part of it, in an open format: whole or not at all.

        Parameters as `gwnet.network`.

        Parameters
        ----------
        format : str
            Name of a format, as `net.export.formats()` lists them.
        path : str or pathlib.Path
            File or folder to make, in a folder that exists.
        replace : bool, optional
            Whether a file that is there may be replaced.
        progress : callable, optional
            Called with what is done and what there is in all.

        Returns
        -------
        pathlib.Path
            The file or folder.

        Raises
        ------
        SettingsError
            If there is no such format, or it does not take one of the options.
        OutputError
            If something is there already, or it cannot be written; nothing new remains then.
        """
        from gwnet.exchange.export import write_export
        from gwnet.exchange.extract import Extract, show_nothing
        from gwnet.exchange.registry import OPTIONS, find_format

        form = find_format(format)
        codes = codes_of(wells)
        chosen = Selection.of(codes, aquifer=aquifer, start=day_or_instant(start), end=day_or_instant(end))
        given = {
            "site": site,
            "wells": chosen.wells,
            "aquifer": aquifer,
            "start": start,
            "end": end,
            "known_on": known_on,
            # Metres are what every format has, so only another unit is a wish that one may not take.
            "unit": None if unit == "m" else unit,
        }
        # Refused rather than passed over: the whole record in place of three wells is not what was asked for.
        wrong = [OPTIONS[name] for name, value in given.items() if value is not None and name not in form.takes]
        if wrong:
            message = f"An export in {form.name} does not take {', '.join(wrong)}."
            raise SettingsError(message, fix=f"It holds {form.holds}.")
        with self._record(site, known_on, wells=codes, aquifer=aquifer) as record:
            extract = Extract(record, chosen, unit, progress or show_nothing, self._store)
            return write_export(extract, form, Path(path), replace=replace)

    def formats(self) -> pd.DataFrame:
        """Return the formats: name, ending of the file (empty: a folder), what it holds, options that it takes."""
        from gwnet.exchange.registry import exchange_formats

        rows = [(one.name, one.ending, one.holds, ", ".join(one.takes)) for one in exchange_formats().values()]
        return pd.DataFrame(rows, columns=["format", "ending", "holds", "takes"])
