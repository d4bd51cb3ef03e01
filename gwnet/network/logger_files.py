"""The part of the face for programs that looks at the files of loggers and their layouts; it needs no database."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from gwnet.ingest.loggers.layout import Layout
    from gwnet.ingest.loggers.trial import Trial


class LoggerFiles:
    """Looking at files of loggers; `gwnet.network.Network` has these methods."""

    @staticmethod
    def logger_try(
        path: str | Path,
        layout: str | Path | Layout | None = None,
        *,
        zone: str | None = None,
        only: str | None = None,
        quantity: str | None = None,
        shown: int = 5,
    ) -> Trial:
        """Return what a file of a logger would give; nothing is stored.

        Parameters
        ----------
        path : str or pathlib.Path
            The file.
        layout : str, pathlib.Path or Layout, optional
            Layout, its name, or its TOML file; one is proposed unless given.
        zone : str, optional
            Zone of the times, where neither the layout nor the file says one.
        only : str, optional
            Which well or instrument to read, where the file has a column that says it.
        quantity : str, optional
            Read this quantity alone; the one column in such a unit is taken to be it.
        shown : int, optional
            How many of the first and of the last rows to give.

        Returns
        -------
        gwnet.ingest.loggers.trial.Trial
            Columns, first and last rows, span, gaps, odd rows; the proposal, where no layout was given.

        Raises
        ------
        LayoutError
            If there is no such layout, it is wrong, does not fit, or none can be proposed.
        UnreadableFileError
            If the file cannot be read, is empty or no text.
        """
        from gwnet.ingest.loggers.layout import Layout, load_layout
        from gwnet.ingest.loggers.trial import try_file

        chosen = layout if layout is None or isinstance(layout, Layout) else load_layout(layout)
        return try_file(path, chosen, zone=zone or "", only=only or "", quantity=quantity or "", shown=shown)

    @staticmethod
    def logger_layouts() -> pd.DataFrame:
        """Return the layouts that travel with the program.

        Returns
        -------
        pandas.DataFrame
            One row a layout: layout, about.
        """
        import pandas as pd

        from gwnet.ingest.loggers.layout import layouts

        return pd.DataFrame([(one.name, one.about) for one in layouts()], columns=["layout", "about"])

    @staticmethod
    def logger_layout(layout: str | Path) -> Layout:
        """Return a layout.

        Parameters
        ----------
        layout : str or pathlib.Path
            Its name, or its TOML file.

        Returns
        -------
        gwnet.ingest.loggers.layout.Layout
            The layout; ``toml()`` gives its text.

        Raises
        ------
        LayoutError
            If there is no such layout, or it is wrong.
        """
        from gwnet.ingest.loggers.layout import load_layout

        return load_layout(layout)
