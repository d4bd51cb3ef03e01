"""The kinds of sections: what each registers, and what follows from that."""

import sys
import types

import pandas as pd
import pytest

from gwnet.errors import DefinitionError, ReportError
from gwnet.reporting import registry
from gwnet.reporting.content import Paragraph
from gwnet.reporting.definition.checks import DAY, FLAG, KeyTable, one_of, positive_or
from gwnet.reporting.definition.parse import load_definition
from gwnet.reporting.extras import Extras
from gwnet.reporting.registry import describe_sections, frame_columns, key_tables, register_section, report_sections
from gwnet.reporting.sections import exclusions
from gwnet.resources import reports_folder

from .constructed import compose


@pytest.fixture
def extra_section(monkeypatch):
    """A kind of section of its own, from a module that stands beside the others only here."""
    monkeypatch.setattr(registry, "_REGISTERED", dict(registry._REGISTERED))
    report_sections.cache_clear()
    wells = KeyTable("wells_count", {"twice": FLAG}, lambda given, _file: given.get("twice", False))

    @register_section(
        "wells_count", "Count", "how many wells", place=85, tables=(wells,), frames={"counts": "well count"}
    )
    def count(view, _drawing):
        factor = 2 if view.definition.settings["wells_count"] else 1
        return [Paragraph(f"{factor * len(view.wells)} wells, {len(view.data.extras.frame('counts'))} counts.")]

    yield
    report_sections.cache_clear()


def test_one_module_is_a_whole_kind_of_section(extra_section, tmp_path, record24, constructed):
    names = list(report_sections())
    assert names[names.index("wells_count") - 1] == "levels"
    assert "| `wells_count` | how many wells | `[wells_count]` `twice` |" in describe_sections()
    assert frame_columns()["counts"] == ("well", "count")
    path = tmp_path / "own.toml"
    path.write_text('title = "A"\nsections = ["wells_count"]\n[wells_count]\ntwice = true\n')
    definition = load_definition(path)
    report = compose(definition, record24, period="2026-Q1", drawing=constructed.PlainDrawing())
    (section,) = report.sections
    assert (section.key, section.title) == ("wells_count", "Count")
    assert section.blocks == (Paragraph("48 wells, 0 counts."),)
    path.write_text('title = "A"\nsections = ["wells_count"]\n[wells_count]\ntwice = 2\n')
    with pytest.raises(DefinitionError, match=r"line 4: .*'twice' has the value 2; expected true or false"):
        load_definition(path)


def test_a_name_is_registered_by_one_module_only(monkeypatch):
    monkeypatch.setattr(registry, "_REGISTERED", dict(registry._REGISTERED))
    report_sections()
    other = types.FunctionType(exclusions.compose_exclusions.__code__, vars(sys.modules[__name__]))
    other.__module__ = __name__
    with pytest.raises(ReportError, match="Two modules register a section 'exclusions'"):
        register_section("exclusions", "", "", place=1)(other)


def test_every_section_is_described_and_every_definition_knows_its_sections():
    text = describe_sections()
    for kind in report_sections().values():
        assert f"| `{kind.name}` | {kind.holds} |" in text
        assert kind.title
        assert kind.compose.__doc__
    for path in reports_folder().glob("*.toml"):
        assert set(load_definition(path).sections) <= set(report_sections())
    assert "| `[trends] seasons` | 4 or 12 |" in text
    assert len({kind.place for kind in report_sections().values()}) == len(report_sections())


def test_frames_must_have_the_columns_that_their_section_declares():
    assert list(Extras().frame("seasons").columns) == list(frame_columns()["seasons"])
    with pytest.raises(ReportError, match=r"pooled.*Columns are missing: aquifer"):
        Extras({"pooled": pd.DataFrame({"wells": [1]})})


def test_sections_that_share_a_table_mean_the_same_one():
    shared = [table for kind in report_sections().values() for table in kind.tables]
    assert all(key_tables()[table.name] is table for table in shared)


@pytest.mark.parametrize(
    ("check", "right", "becomes", "wrong"),
    [
        (one_of("a", "b"), "a", "a", "c"),
        (one_of(4, 12), 12, 12, True),
        (positive_or("auto"), "auto", None, 0),
        (positive_or("auto"), 2, 2.0, True),
        (DAY, "record", None, "2015-01-01"),
    ],
)
def test_checks(check, right, becomes, wrong):
    assert check(right) == becomes
    assert check.accepts(right)
    assert not check.accepts(wrong)
