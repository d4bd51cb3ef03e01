"""The meanings of columns are of columns that there are."""

from gwnet.analysis.levels.column_meanings import COLUMN_MEANINGS
from gwnet.analysis.levels.table import FILE_COLUMNS
from gwnet.store.as_recorded import ENDING, RECORDED

#: Columns that a file of levels has as the table of level events has them.
as_in_table = {name for name in RECORDED if not name.endswith(ENDING)}


def test_columns_of_levels_whose_names_do_not_say_it_all_have_a_meaning():
    plain = {"site", "well", "round", "status", "quality", "aquifer", *as_in_table}
    assert {name.removesuffix("_m") for name in FILE_COLUMNS} - plain - set(COLUMN_MEANINGS) == set()
    assert all(text and not text.endswith(".") for text in COLUMN_MEANINGS.values())
