"""What every product has in common: a table, figures, files, and how a notebook shows it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from gwnet.whole_files import replace_files

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

#: Rows of a table that a notebook shows.
_MOST_ROWS: Final = 20


class Product:
    """A result with its table and its figure.

    A notebook shows both; ``write`` makes a file of either.
    """

    if TYPE_CHECKING:

        @property
        def table(self) -> pd.DataFrame:
            """Return the numbers of the product as rows."""

    def figure(self) -> Figure:
        """Return the figure of the product, or its first page."""
        raise NotImplementedError

    def figures(self) -> list[Figure]:
        """Return the pages of the product."""
        return [self.figure()]

    def write(self, path: Path | str) -> list[Path]:
        """Write the table or the figures to a file, as its ending says.

        Parameters
        ----------
        path : pathlib.Path or str
            File ending in .csv for the table, or .png, .pdf or .svg for the figures; ``name-2.png`` and so on are
            further pages.

        Returns
        -------
        list of pathlib.Path
            Files written.

        Raises
        ------
        OutputError
            If the ending is another, or a file cannot be written.
        """
        target = Path(path)
        if target.suffix.lower() == ".csv":
            content = self.table.to_csv(index=False, lineterminator="\n").encode()
            return replace_files({target: content}, "table")
        from gwnet.figures.base.panel import save_all

        return save_all([(self.figures(), target)])

    def __repr__(self) -> str:
        """Return what kind of product it is, with its table."""
        return f"{type(self).__name__}: .table, .figure(), .write(path)\n{self.table}"

    def _repr_html_(self) -> str:
        """Return table and first page for a notebook."""
        import base64

        from gwnet.figures.base.style import figure_bytes

        # Within the page: a notebook that is sent on has no folder with pictures beside it.
        picture = base64.b64encode(figure_bytes(self.figure(), "png")).decode()
        table = self.table.to_html(max_rows=_MOST_ROWS, index=False, escape=True)
        return f'<img alt="{type(self).__name__}" style="max-width:100%" src="data:image/png;base64,{picture}">{table}'
