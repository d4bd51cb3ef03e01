"""Make the pictures of README anew from the demo network.

    python demo_network/make_pictures.py DEMO_FOLDER

where DEMO_FOLDER is what ``gwnet demo`` made. Figures are drawn by the commands that README names and made smaller, the
pages of the report by ``pdftoppm``.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

PICTURES = Path(__file__).resolve().parent / "pictures"

#: Each figure: the command that draws it, before its file, and its width [px].
FIGURES = {
    "hydrograph": (["hydrograph", "W-08", "--out"], 1000),
    "hydrograph_logger": (["hydrograph", "N3-U", "--from", "2024-07-01", "--out"], 1000),
    "coverage": (["logger", "coverage", "--loggers-only", "--from", "2024-03-01", "--out"], 1000),
    "seasons": (["seasons", "--well", "N1-L", "--figure"], 1000),
    "trend": (["trend", "--well", "W-03", "--figure"], 1000),
}

#: Pages of the quarterly report.
PAGES = {"report_cover": 1, "report_levels": 5}


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or not (Path(arguments[0]) / "gwnet.sqlite").is_file():
        print("Give the folder that 'gwnet demo' made.", file=sys.stderr)
        return 2
    demo = Path(arguments[0]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        for name, (command, width) in FIGURES.items():
            drawn = Path(folder) / f"{name}.png"
            run(sys.executable, "-m", "gwnet", *command, str(drawn), "--db", str(demo / "gwnet.sqlite"))
            keep(drawn, name, width)
        run(
            *(sys.executable, "-m", "gwnet", "map", "--aquifer", "upper", "--date", "2026-02-17", "--out", folder),
            *("--db", str(demo / "gwnet.sqlite")),
        )
        keep(Path(folder) / "map.png", "map", 900)
        report = next((demo / "report").glob("*.pdf"))
        for name, page in PAGES.items():
            drawn = Path(folder) / name
            run("pdftoppm", "-png", "-r", "150", "-f", str(page), "-singlefile", str(report), str(drawn))
            keep(drawn.with_suffix(".png"), name, 620)
    return 0


def run(*command: str) -> None:
    """Run a command; what it prints is of no interest here."""
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def keep(drawn: Path, name: str, width: int) -> None:
    """Keep a picture at a width, with as few colours as it needs, so that the repository stays small."""
    with Image.open(drawn) as image:
        height = round(image.height * width / image.width)
        smaller = image.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
    smaller.quantize(64).save(PICTURES / f"{name}.png", optimize=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
