"""The generated parts of the pages are as the code has them."""

import json
import re
from pathlib import Path

import pytest

import gwnet
import gwnet.constants
from gwnet.analysis.checks.limits import LIMITS
from gwnet.analysis.checks.quality import findings
from gwnet.analysis.checks.rules import CHECKS, RULES
from gwnet.analysis.loggers.finding_rules import RULES as LOGGER_RULES
from gwnet.docs.generate import DEFAULTS, MAKERS, list_pages, regenerate
from gwnet.reporting.definition.keys import Checks
from gwnet.reporting.registry import report_sections
from gwnet.resources import reports_folder
from gwnet.store.contract import TABLES
from gwnet.store.snapshot import Snapshot

from ..helpers import ROOT, run_forked

DOCS = ROOT / "gwnet" / "docs"


def page(name):
    return (DOCS / f"{name}.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("file", list_pages(ROOT), ids=lambda file: file.stem)
def test_the_generated_parts_of_a_page_are_current(file):
    text = file.read_text(encoding="utf-8")
    assert text == regenerate(text), "run: python -m gwnet.docs"


def test_every_generated_part_is_on_one_page():
    used = [name for file in list_pages(ROOT) for name in re.findall(r"<!-- generated: ([\w-]+) -->", file.read_text())]
    assert sorted(used) == sorted(MAKERS)


def test_a_part_that_is_out_of_date_is_written_anew():
    old = "Before.\n<!-- generated: limits -->\nold\n<!-- end -->\nAfter.\n"
    new = regenerate(old)
    assert new.startswith("Before.\n<!-- generated: limits -->\n| limit |")
    assert new.endswith("|\n<!-- end -->\nAfter.\n")
    with pytest.raises(KeyError):
        regenerate("<!-- generated: nothing -->\n<!-- end -->")


@pytest.mark.slow
def test_the_module_rewrites_the_pages_of_a_checkout(tmp_path):
    (tmp_path / "README.md").write_text("<!-- generated: topics -->\n<!-- end -->\n")
    ran = run_forked("-m", "gwnet.docs", cwd=tmp_path)
    assert (ran.code, ran.out.strip()) == (0, str(tmp_path / "README.md")), ran.err
    assert "(gwnet/docs/tables.md)" in (tmp_path / "README.md").read_text()


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_every_column_is_documented(table):
    part = page("tables").split(f"### {table.name}\n")[1].split("\n### ")[0]
    names = [line.split(" | ")[0].removeprefix("| ") for line in part.splitlines() if line.startswith("| ")][1:]
    assert names == [f"**{column.name}**" if column.required else column.name for column in table.columns]


def test_every_rule_and_limit_is_documented():
    text = page("checks")
    assert [rule for rule in RULES if f"| {rule} |" not in text] == []
    assert [name for name, limit in LIMITS.items() if f"| `{name}` | {limit.default:g} |" not in text] == []
    assert [rule for rule in LOGGER_RULES if f"| {rule} |" not in page("corrections")] == []


def test_severities_are_those_that_findings_of_the_demo_have(demo_record):
    with gwnet.open(demo_record) as net, net.store.reading() as connection:
        severities = findings(Snapshot(connection))[["rule", "severity"]].drop_duplicates()
    found = [tuple(row) for row in severities.to_numpy().tolist()]
    assert len(found) >= 10
    stated = {check.rule: check.severities for check in CHECKS}
    assert [(rule, word) for rule, word in found if word not in stated[rule]] == []


def test_every_section_and_key_of_a_definition_is_documented():
    text = page("definitions")
    assert [name for name in report_sections() if f"| `{name}` |" not in text] == []
    for table, keys in Checks(Path("a.toml"), "").keys.items():
        part = re.search(rf"^\[{table}\](.*?)^(?:\[|```)", text, re.MULTILINE | re.DOTALL)[1] if table else text
        assert [
            key for key in keys if key != "*" and not re.search(rf"\b{key}\b", part + text.split("```")[-1])
        ] == [], table


def test_the_definition_on_the_page_is_the_one_that_comes_with_the_program():
    shipped = (reports_folder() / "quarterly.toml").read_text(encoding="utf-8")
    lines = [
        line for line in re.sub(r"^sections = .*?^]", "", shipped, flags=re.DOTALL | re.MULTILINE).splitlines() if line
    ]
    assert [line for line in lines if line not in page("definitions")] == []


def test_defaults_are_printed_with_their_values_and_sources():
    text = page("accuracy")
    for name in DEFAULTS:
        row = next(line for line in text.splitlines() if line.startswith(f"| {getattr(gwnet.constants, name):g} |"))
        assert len(json.dumps(row)) > 40, name
