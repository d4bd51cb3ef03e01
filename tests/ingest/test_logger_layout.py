"""Layouts: what a TOML file may say, what is refused, and that a layout written out reads the same."""

import re
from dataclasses import fields

import pytest

from gwnet.errors import LayoutError
from gwnet.ingest.loggers.layout import (
    KEYS,
    Layout,
    ValueRule,
    describe_layout_keys,
    layouts,
    load_layout,
    parse_layout,
)
from gwnet.ingest.loggers.words import QUANTITIES, absolute_or_not, heading_unit, names_time, read_heading, unit_of

from ..helpers import ROOT

GOOD = """
about = "constructed"
missing = ["-9999"]
[text]
encoding = "cp1252"
delimiter = ";"
decimal = ","
thousands = "."
comment = "#"
[table]
heading_pattern = '^Zeit\\b'
rows_between = 1
units_below = true
footer_pattern = "^Ende"
[time]
date = "Zeit"
clock = 2
formats = ["%d.%m.%Y"]
clock_formats = ["%H:%M[:%S]"]
zone = "Europe/Vienna"
[[columns]]
quantity = "water column"
column = "/^Wasser/"
unit = "cm"
missing = ["out"]
[[columns]]
quantity = "battery"
column = 5
unit = "V"
[events]
columns = ["Note", 7]
rows = "^.*;;;restart"
[serial]
pattern = 'Nr\\. (\\d+)'
column = "Sensor"
[title]
pattern = "Name: (.*)"
[select]
column = "Well"
value = "MW-1"
"""

MINIMAL = '[table]\nheading_row = 1\n[time]\ncolumn = "time"\nzone = "UTC"\n'


def test_every_key_is_taken_and_written_again():
    layout = parse_layout(GOOD, name="all")
    assert layout.columns[0].column == "/^Wasser/"
    assert layout.columns[0].missing == ("out",)
    assert (layout.date_column, layout.clock_column, layout.rows_between) == ("Zeit", 2, 1)
    assert layout.events == ("Note", 7)
    assert parse_layout(layout.toml()) == layout


def test_the_shortest_layout_takes_usual_values():
    layout = parse_layout(MINIMAL)
    assert (layout.encoding, layout.delimiter, layout.decimal, layout.formats) == ("utf-8", ",", ".", ("iso",))
    assert parse_layout(layout.toml()) == layout


@pytest.mark.parametrize("layout", layouts(), ids=lambda one: one.name)
def test_a_built_in_layout_is_complete_and_says_what_it_is(layout):
    assert layout.about
    assert load_layout(layout.name) == layout
    assert parse_layout(layout.toml(), name=layout.name) == layout


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (MINIMAL + "[[columns]\n", "not well-formed TOML"),
        (MINIMAL.replace("heading_row", "headings_row"), "'headings_row' is not known"),
        ("colour = 1\n" + MINIMAL, "'colour' is not known"),
        (MINIMAL.replace("heading_row = 1", "heading_row = 0"), "must be a whole number from 1"),
        (MINIMAL.replace("heading_row = 1", "heading_row = true"), "must be a whole number from 1"),
        (MINIMAL.replace("heading_row = 1", "heading_pattern = '('"), "must be a regular expression"),
        (MINIMAL + "zone_pattern = 'GMT'\n", "with one group"),
        (MINIMAL.replace("heading_row = 1", "heading_row = 1\nfirst_row = 2"), "exactly one way"),
        (MINIMAL.replace("heading_row = 1\n", ""), "exactly one way"),
        (MINIMAL.replace('column = "time"', 'column = "time"\ndate = "day"'), "either one column"),
        (MINIMAL.replace('column = "time"\n', ""), "either one column"),
        (MINIMAL.replace('column = "time"', 'date = "day"\nclock = "time"'), "clock_formats"),
        (MINIMAL.replace('zone = "UTC"', 'zone = "Mars/Base"'), "'Mars/Base' is not known"),
        (MINIMAL + 'formats = ["%d.%q"]\n', "unknown letter %q"),
        (MINIMAL + 'formats = ["%d.%m.%Y[ %H:%M"]\n', "bracket without its partner"),
        (MINIMAL + 'formats = ["%H:%M"]\n', "must each name a day"),
        (MINIMAL + 'formats = ["%m/%d/%Y %I:%M"]\n', "needs %I and %p together"),
        (MINIMAL + "formats = []\n", "must each name a day"),
        (MINIMAL + '[text]\ndelimiter = "::"\n', "one sign"),
        (MINIMAL + '[text]\ndecimal = ";"\n', "must be . or ,"),
        (MINIMAL + '[text]\nencoding = "ebcdic"\n', "must be one of utf-8"),
        (MINIMAL + '[[columns]]\nquantity = "water column"\n', "'column' is missing"),
        (MINIMAL + '[[columns]]\nquantity = "depth"\ncolumn = 2\n', "'depth' is not known"),
        (MINIMAL + '[[columns]]\nquantity = "water column"\ncolumn = 2\nunit = "psi"\n', "'psi' is no unit"),
        (MINIMAL + 2 * '[[columns]]\nquantity = "battery"\ncolumn = 2\n', "occurs twice"),
        (MINIMAL + '[[columns]]\nquantity = "battery"\ncolumn = "/(/"\n', "must be a column"),
        (MINIMAL + "columns = 3\n", "'columns' is not known"),
        ("columns = 3\n" + MINIMAL, "under [[columns]]"),
        ("time = 3\n" + MINIMAL.replace("[time]\n", ""), "must be a table of keys"),
        (MINIMAL.replace("heading_row", "first_row"), "by number"),
        (
            '[table]\nfirst_row = 1\n[time]\ncolumn = 1\n[[columns]]\nquantity = "battery"\ncolumn = 2\n',
            "needs the unit",
        ),
    ],
)
def test_what_is_wrong_is_reported_with_its_place_and_fix(text, message):
    with pytest.raises(LayoutError) as refused:
        parse_layout(text, where="mine.toml")
    assert message in refused.value.message
    assert refused.value.where.startswith("mine.toml")
    assert refused.value.fix


def test_a_layout_that_is_not_there_names_those_that_are(tmp_path):
    with pytest.raises(LayoutError, match="comma-iso"):
        load_layout("unheard-of")
    with pytest.raises(LayoutError, match="cannot be read"):
        load_layout(tmp_path / "none.toml")
    (tmp_path / "odd.toml").write_bytes(b"about = '\xff'")
    with pytest.raises(LayoutError, match="not UTF-8"):
        load_layout(tmp_path / "odd.toml")


@pytest.mark.parametrize(
    ("word", "quantity", "unit"),
    [
        ("PSI", "absolute pressure", "psi"),
        ("hpa", "air pressure", "hPa"),
        ("mH2O", "water pressure", "mH2O"),
        ("°C", "water temperature", "degC"),
        ("Â°F", "water temperature", "degF"),
        ("�F", "water temperature", "degF"),
        ("?C", "air temperature", "degC"),
        ("deg C", "air temperature", "degC"),
        ("feet", "water column", "ft"),
        ("cm", "depth to water", "cm"),
        ("µS/cm", "conductivity", "uS/cm"),
        ("Volts", "battery", "V"),
        ("in", "depth to water", None),
        ("kPa", "depth to water", None),
    ],
)
def test_words_of_units(word, quantity, unit):
    assert unit_of(word, quantity) == unit


@pytest.mark.parametrize(
    ("heading", "quantity", "unit"),
    [
        ("Abs Pres, psi (sensor 1)", "absolute pressure", "psi"),
        ("absolute_pressure [kPa]", "absolute pressure", "kPa"),
        ("Barometric pressure (mbar)", "air pressure", "mbar"),
        ("Luftdruck [hPa]", "air pressure", "hPa"),
        ("Temp, °F", "water temperature", "degF"),
        ("Temperatur (°C)", "water temperature", "degC"),
        ("Depth to water (ft)", "depth to water", "ft"),
        ("Abstich [m]", "depth to water", "m"),
        ("water level elevation [m]", "water elevation", "m"),
        ("Grundwasserstand (m ü. NHN)", "water elevation", "m"),
        ("Water column [cm]", "water column", "cm"),
        ("Spec. Conductivity (uS/cm)", "conductivity", "uS/cm"),
        ("Battery [V]", "battery", "V"),
        ("Temperature", "water temperature", ""),
        ("pressure_abs_dbar", "absolute pressure", "dbar"),
        ("pressure_head_ft", "water column", "ft"),
        ("Level above sensor (m)", "water column", "m"),
        ("Groundwater level above datum (m)", "water elevation", "m"),
        ("head_m", "water elevation", "m"),
        ("Remarks", "", ""),
    ],
)
def test_headings_name_quantity_and_unit(heading, quantity, unit):
    named = read_heading(heading)
    assert (named.quantity, named.unit) == (quantity, unit)
    assert not quantity or quantity in QUANTITIES


def test_a_heading_that_says_pressure_alone_is_vague():
    assert read_heading("Current(PSI)").vague
    assert read_heading("Level (m)").vague
    assert (read_heading("level_m").vague, read_heading("level_m").unit) == (True, "m")
    assert not read_heading("sl_nr").vague
    assert not read_heading("Current(PSI)").quantity
    assert heading_unit("Wasser", "water column", "cm") == "cm"


def test_the_size_of_a_pressure_tells_absolute_from_water_alone():
    assert absolute_or_not(-17_000.0, 30_000.0)[0] == "water pressure"
    assert absolute_or_not(101_000.0, 140_000.0)[0] == "absolute pressure"
    assert absolute_or_not(95_000.0, 102_000.0)[0] == ""


def test_headings_of_times():
    assert all(map(names_time, ["Date Time, UTC-07:00", "Datum", "timestamp", "date_time", "Uhrzeit", "datum_messung"]))
    assert not any(map(names_time, ["update count", "Lifetime (h)", "Temp", "Zeitlin"]))


def test_the_example_of_the_documentation_is_a_layout_that_is_read():
    page = (ROOT / "gwnet" / "docs" / "layouts.md").read_text(encoding="utf-8")
    blocks = [block for block in re.findall(r"```toml\n(.*?)```", page, re.DOTALL) if "[[columns]]" in block]
    assert len(blocks) == 1
    layout = parse_layout(blocks[0])
    assert (layout.columns[0].quantity, layout.select_value, layout.zone) == ("absolute pressure", "N-3", "UTC+01:00")


def test_every_key_is_documented_and_is_an_attribute():
    text = describe_layout_keys()
    assert text.count("\n") == 1 + sum(map(len, KEYS.values()))
    assert "| `[time]` | `zone` | a text in quotes | IANA name or fixed offset of the times |" in text
    attributes = {key.attribute for table, keys in KEYS.items() for key in keys.values() if table != "columns"}
    assert attributes == {field.name for field in fields(Layout)} - {"columns", "where"}
    assert {key.attribute for key in KEYS["columns"].values()} == {field.name for field in fields(ValueRule)}
