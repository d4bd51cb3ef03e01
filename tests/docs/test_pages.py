"""README.md, DEVELOPERS.md and the pages of ``gwnet help`` say what is there, and what they show works."""

import inspect
import re
import shutil
import subprocess
import sys

import click
import pytest

from gwnet.cli import COMMANDS
from gwnet.docs.commands import list_commands
from gwnet.docs.methods import list_methods
from gwnet.ingest.tables.problems import PROBLEMS
from gwnet.network import Network

from ..helpers import ROOT, surroundings
from ..made_once import made_once
from .console import examples, run, surroundings_with_gwnet

README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
TOPICS = sorted((ROOT / "gwnet" / "docs").glob("*.md"))
PAGES = [README, DEVELOPERS, *TOPICS]

#: The two commands of a newcomer: the main job, and the tests.
MAIN_JOB = "pip install . && gwnet demo"
TESTS = "pip install '.[test]' && pytest"

#: Longest that the two pages at the top may be [bytes], so that they are read.
LONGEST = {README: 12_000, DEVELOPERS: 14_000}


def read(page):
    return page.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def pages():
    return "\n".join(map(read, PAGES))


@pytest.fixture(scope="module")
def network_of_the_readme(tmp_path_factory):
    """Give a folder in which the commands of README.md were run in order; empty before."""

    def make(top):
        (top / "work").mkdir()
        # as a newcomer runs them: each command loads what it needs itself
        environment = surroundings_with_gwnet(top / "programs", is_fresh=True)
        for example in examples(read(README)):
            run(example, top / "work", environment)

    return made_once(tmp_path_factory, "readme-network", make) / "work"


def test_the_two_commands_of_a_newcomer_are_in_the_readme():
    lines = [line.strip().removeprefix("$ ") for line in read(README).splitlines()]
    assert MAIN_JOB in lines
    assert TESTS in lines


def test_the_checks_run_the_readme_s_test_command():
    assert TESTS in read(ROOT / ".ci" / "run")


@pytest.mark.parametrize("page", LONGEST, ids=lambda page: page.name)
def test_the_pages_at_the_top_are_short(page):
    assert page.stat().st_size <= LONGEST[page]


@pytest.mark.slow
def test_the_readme_makes_a_network_in_about_ten_commands(network_of_the_readme):
    commands = [example.command for example in examples(read(README)) if example.command.startswith("gwnet ")]
    assert 8 <= len(commands) <= 12
    assert (network_of_the_readme / "report" / "quarterly_MILL_2024-Q1.pdf").stat().st_size > 10_000


@pytest.mark.slow
@pytest.mark.parametrize("page", [page for page in TOPICS if examples(read(page))], ids=lambda page: page.stem)
def test_what_a_page_shows_works(page, network_of_the_readme, tmp_path):
    """Run the marked blocks of a page in a copy of the folder that README.md leaves behind."""
    folder = tmp_path / "work"
    shutil.copytree(network_of_the_readme, folder)
    environment = surroundings_with_gwnet(tmp_path / "programs")
    for example in examples(read(page)):
        run(example, folder, environment)


@pytest.mark.slow
@pytest.mark.parametrize("page", [README, *TOPICS], ids=lambda page: page.stem)
def test_python_that_a_page_shows_works(page, network_of_the_readme, tmp_path):
    blocks = re.findall(r"```python\n(.*?)```", read(page), re.DOTALL)
    if page == README:
        assert len(blocks) == 1
        assert len(blocks[0].splitlines()) <= 10
    for number, block in enumerate(blocks):
        folder = tmp_path / f"work{number}"
        shutil.copytree(network_of_the_readme, folder)
        command = [sys.executable, "-W", "ignore", "-c", f"{block}\nassert files and all(map(len, (levels, trends)))"]
        done = subprocess.run(command, cwd=folder, env=surroundings(), capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_documented_beyond_its_list(name, pages):
    assert re.search(rf"gwnet {name}\b", pages), f"gwnet {name}"


@pytest.mark.parametrize(
    ("path", "command"), list(list_commands()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_every_option_is_documented(path, command):
    page = read(ROOT / "gwnet" / "docs" / "commands.md")
    part = re.search(rf"^### {re.escape(path)}(?: [A-Z\[][^\n]*)?\n(.*?)(?=^### |\Z)", page, re.MULTILINE | re.DOTALL)
    assert part, path
    shared = read(ROOT / "gwnet" / "docs" / "options.md")
    options = [option for p in command.params if isinstance(p, click.Option) for option in p.opts]
    assert [option for option in options if f"`{option}" not in part[1] and f"`{option}" not in shared] == []


@pytest.mark.parametrize("code", sorted(PROBLEMS))
def test_every_problem_of_a_row_is_documented(code, pages):
    assert f"`{code}`" in pages


def test_every_method_of_the_network_is_documented():
    page = read(ROOT / "gwnet" / "docs" / "python.md")
    methods = [name for name, _ in list_methods()]
    assert {f"net.{name}" for name in dir(Network) if inspect.isfunction(getattr(Network, name)) and name[0] != "_"} < {
        *methods
    }
    assert {"net.levels", "net.trends.pooled", "net.review.approve", "net.seasons.summary"} < {*methods}
    assert [name for name in methods if f"| `{name}` |" not in page] == []


def test_every_variable_of_the_environment_is_documented(pages):
    used = set()
    for file in [*(ROOT / "gwnet" / "cli").rglob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        used |= set(re.findall(r"\bGWNET_[A-Z_]*[A-Z]\b", read(file)))
    assert {name for name in used if name not in pages} == set()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_file_and_topic_that_a_page_refers_to_is_there(page):
    text = read(page)
    for target in re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text):
        assert (page.parent / target).exists(), target
    topics = {topic.stem for topic in TOPICS} | {"TOPIC"}
    assert [word for word in re.findall(r"gwnet help ([A-Za-z][\w-]*)", text) if word not in topics] == []


def test_the_index_lists_every_page_once():
    listed = re.findall(r"^- `([\w-]+)`: \S", read(ROOT / "gwnet" / "docs" / "index.md"), re.MULTILINE)
    assert sorted([*listed, "index"]) == [page.stem for page in TOPICS]


@pytest.mark.parametrize("page", TOPICS, ids=lambda page: page.stem)
def test_a_page_has_one_title_at_its_top(page):
    assert re.findall(r"^# .+", re.sub(r"```.*?```", "", read(page), flags=re.DOTALL), re.MULTILINE) == [
        read(page).splitlines()[0]
    ]


def test_developers_names_every_package_of_the_layers():
    for package in sorted((ROOT / "gwnet").iterdir()):
        if (package / "__init__.py").exists():
            assert re.search(rf"`(gwnet[./])?{package.name}/?`", read(DEVELOPERS)), package.name
