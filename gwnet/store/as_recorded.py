"""What a file of reduced levels carries of the rows that they were worked out from, so that it can be loaded again.

Reduced depths are corrected and reduced elevations are worked out, so neither is a reading. The columns here hold the
readings as they were recorded, beside them.
"""

from __future__ import annotations

from typing import Final

from gwnet.store.columns import Column
from gwnet.store.contract import BY_NAME

#: End of the headings of columns whose reduced namesakes may hold other values.
ENDING: Final = "_as_recorded"

#: Heading of the unit of the recorded lengths of a row; ``column=unit`` with ``;`` between where they differ.
UNIT: Final = f"unit{ENDING}"

#: Heading of what a level comes from, and the words under it.
LEVEL_FROM: Final = "level_from"
MANUAL_READING: Final = "manual reading"
LOGGER: Final = "logger"
PUMPING_TEST: Final = "pumping test"

_KEY_OF_LEVELS: Final = ("site", "well", "measured_at", "date", "time")


def _heading(column: Column) -> str:
    # a level has a round by its days and quality unchecked where none was recorded
    differs = column.reading or column.name in {"round", "quality"}
    return f"{column.name}{ENDING}" if differs else column.frame_name


#: Headings of what is recorded of a level event beside its well and time, with its column in the table of level events.
RECORDED: Final[dict[str, Column]] = {
    _heading(column): column for column in BY_NAME["level_events"].columns if column.name not in _KEY_OF_LEVELS
}

#: The headings of a file of levels that say what was recorded, in order; free text is last, where a file may be cut.
HEADINGS: Final[tuple[str, ...]] = (LEVEL_FROM, UNIT, *RECORDED)
