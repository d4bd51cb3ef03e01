"""The meanings of columns are of columns that there are."""

from gwnet.analysis.levels.column_meanings import COLUMN_MEANINGS
from gwnet.analysis.levels.table import PRINTED_COLUMNS


def test_columns_of_levels_whose_names_do_not_say_it_all_have_a_meaning():
    plain = {"site", "well", "round", "status", "quality"}
    assert {name.removesuffix("_m") for name in PRINTED_COLUMNS} - plain - set(COLUMN_MEANINGS) == set()
    assert all(text and not text.endswith(".") for text in COLUMN_MEANINGS.values())
