"""Make the demo network: an invented wellfield with its tables and the truths planted in it.

    python make_demo.py [FOLDER]

writes the files beside this script, or into a folder, always with the same bytes. The story: an invented valley with
an upper aquifer of sand and gravel and a lower one of sand, a river that the upper aquifer feeds, a supply well with
its cone of depression, eight years of quarterly rounds by two crews, and the mishaps of such years. In the folder
`making`, `physics` holds the true heads, `story` the places and mishaps, `record` what was booked, `tables` the tables,
`pumping` the pumping tests, `air`, `loggers`, `logger_files` and `layouts` what the loggers recorded and how it was
exported, `truths` and `logger_truths` what must be found (`EXPECTED.toml`), `files` the writing.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from making.layouts import write_layouts
from making.logger_files import write_loggers
from making.loggers import Loggers
from making.pumping import write_pumping
from making.record import Record
from making.tables import write_tables
from making.truths import write_truths


def main(arguments: list[str]) -> int:
    if len(arguments) > 1 or any(word.startswith("-") for word in arguments):
        print("Give no argument, or the folder to write into.", file=sys.stderr)
        return 2
    folder = Path(arguments[0]) if arguments else Path(__file__).resolve().parent
    record = Record()
    loggers = Loggers(record)
    write_tables(folder, record)
    write_pumping(folder, record)
    write_loggers(folder, loggers)
    write_layouts(folder)
    write_truths(folder, record, loggers)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
