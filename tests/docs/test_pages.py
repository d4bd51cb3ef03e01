"""README.md and DEVELOPERS.md say what is there, and what they show works."""

import re
import shutil

import click
import pytest

from gwnet.cli import COMMANDS, group
from gwnet.ingest.tables.problems import PROBLEMS

from ..helpers import ROOT
from .console import examples, run, surroundings_with_gwnet

README = ROOT / "README.md"
PAGES = [README, ROOT / "DEVELOPERS.md"]

#: The two commands of a newcomer: the main job, and the tests.
MAIN_JOB = "pip install . && gwnet demo"
TESTS = "pip install '.[test]' && pytest"


@pytest.fixture(scope="module")
def pages():
    return "\n".join(page.read_text(encoding="utf-8") for page in PAGES)


def options_of(name):
    parameters = group.get_command(None, name).params
    return [option for p in parameters if isinstance(p, click.Option) for option in p.opts if option.startswith("--")]


def test_the_two_commands_of_a_newcomer_stand_in_the_readme():
    lines = [line.strip().removeprefix("$ ") for line in README.read_text(encoding="utf-8").splitlines()]
    assert MAIN_JOB in lines
    assert TESTS in lines


def test_the_checks_run_the_readme_s_test_command():
    assert TESTS in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_what_the_readme_shows_works(tmp_path):
    """Run the marked blocks in order in one folder, which holds a copy of the demo network's files."""
    found = examples(README.read_text(encoding="utf-8"))
    assert len(found) >= 10, "the README shows a first network in about ten commands"
    folder = tmp_path / "work"
    folder.mkdir()
    shutil.copytree(ROOT / "demo_network", folder / "demo_network")
    environment = surroundings_with_gwnet(tmp_path / "programs")
    for example in found:
        run(example, folder, environment)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_documented(name, pages):
    assert re.search(rf"gwnet {name}\b", pages), f"gwnet {name}"
    assert [option for option in options_of(name) if not re.search(rf"{option}(?![\w-])", pages)] == []


@pytest.mark.parametrize("code", sorted(PROBLEMS))
def test_every_problem_of_a_row_is_documented(code, pages):
    assert f"`{code}`" in pages


def test_every_variable_of_the_environment_is_documented(pages):
    used = set()
    for file in [*(ROOT / "gwnet" / "cli").glob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        used |= set(re.findall(r"\bGWNET_[A-Z_]*[A-Z]\b", file.read_text(encoding="utf-8")))
    assert {name for name in used if name not in pages} == set()


def test_every_file_that_a_page_links_to_is_there():
    for page in PAGES:
        for target in re.findall(r"\]\((?!https?:|#)([^)#\s]+)", page.read_text(encoding="utf-8")):
            assert (ROOT / target).exists(), f"{page.name}: {target}"


def test_the_pages_name_every_package_of_the_layers(pages):
    for package in sorted((ROOT / "gwnet").iterdir()):
        if (package / "__init__.py").exists():
            assert re.search(rf"`(gwnet[./])?{package.name}/?`", pages), package.name
