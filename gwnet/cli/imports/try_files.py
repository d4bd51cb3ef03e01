"""``gwnet import try``."""

from pathlib import Path
from typing import Any

import click

from gwnet.cli import DONE, DONE_WITH_FINDINGS, options, output
from gwnet.cli.imports import shown


@click.command("try")
@click.argument("paths", nargs=-1, required=True, metavar="FILE...")
@click.option(
    "--mapping",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Mapping to try. Default: one that looking proposes.",
)
@click.option("--query", default="", metavar="SQL", help="What to read, where FILE is the address of a database.")
@click.option("--site", default="", metavar="SITE", help="Code of the site.")
@click.option("--zone", default="", metavar="ZONE", help="Time zone of the site, for example Europe/Vienna.")
@click.option("--crs", default="", metavar="CRS", help="Projected coordinate system, for example EPSG:25832.")
@click.option("--datum", default="", metavar="DATUM", help="Vertical datum of the elevations.")
@click.option("--unit", default="", metavar="UNIT", help="Unit of lengths without one: m, ft or ftUS.")
@click.option(
    "--save", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE", help="Write the mapping there."
)
@options.form
def command(paths: tuple[str, ...], save: Path | None, form: str, **chosen: Any) -> int:
    """Propose a mapping for files, or show what one would read; store nothing.

    Name all files that belong together: readings, wells, screens. What was inferred is printed with its reason; what
    nothing settles is marked CHECK in the mapping.
    """
    with output.working():
        from gwnet.network.imports import Imports

        trial = Imports.try_files(list(paths), **chosen)
    shown.show_trial(trial, form)
    # Written with its open questions, which a load refuses until each mark is taken away.
    if save is not None:
        output.write_new(save, trial.mapping.text, "mapping")
    return DONE_WITH_FINDINGS if trial.checks or trial.missing or trial.rejections else DONE
