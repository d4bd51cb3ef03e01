"""What lies where, how long modules are, and what must not stand in any file."""

import ast
import re
import tomllib

import pytest

from ..helpers import ROOT, package_modules, tracked_files

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    ".gitignore",
    "gwnet",
    "migrations",
    "reports",
    "tests",
    "demo_network",
    ".ci",
}

CLI = ROOT / "gwnet" / "cli"

LONGEST_MODULE = 600
LONGEST_COMMAND = 25

#: Paths of a machine and hosts of package registries; written in parts so that this file does not hold them.
FORBIDDEN = [
    "/" + "work/",
    "/" + "home/",
    "/" + "root/",
    "/" + "opt/",
    "pypi" + ".org",
    "pythonhosted" + ".org",
    "deb" + ".debian.org",
    "npmjs" + ".org",
    "127.0.0.1:" + "5499",
]

TEXT = {".py", ".toml", ".md", ".csv", ".cfg", ".txt", ".mako", ".json", ".svg", ".xml", ""}


@pytest.fixture(scope="module")
def files():
    found = tracked_files()
    if found is None:
        pytest.skip("not a version-controlled checkout")
    return found


def test_the_top_level_holds_only_what_it_should(files):
    assert {file.relative_to(ROOT).parts[0] for file in files} <= TOP_LEVEL


def test_no_file_names_a_machine_or_a_registry(files):
    found = []
    for file in files:
        if file.suffix not in TEXT:
            continue
        text = file.read_text(encoding="utf-8", errors="replace")
        found += [f"{file.relative_to(ROOT)}: {words}" for words in FORBIDDEN if words in text]
    assert found == []


def test_no_large_file_is_tracked(files):
    assert [str(file) for file in files if file.stat().st_size > 2_000_000] == []


@pytest.mark.parametrize("file", package_modules(), ids=lambda file: str(file.relative_to(ROOT)))
def test_a_module_is_short_enough_to_read(file):
    assert len(file.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE


def functions(tree):
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]


def statement_lines(function):
    """Return how many lines the body of a function has, without its docstring."""
    body = function.body[1:] if ast.get_docstring(function) is not None else function.body
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


@pytest.mark.parametrize("name", sorted(str(file.relative_to(CLI)) for file in CLI.rglob("*.py")))
def test_a_command_only_parses_calls_and_prints(name):
    tree = ast.parse((CLI / name).read_text(encoding="utf-8"))
    for function in functions(tree):
        if function.name == "command":
            assert statement_lines(function) <= LONGEST_COMMAND


#: Where errors of ours end: the command line, which prints them, and what a shell completes, which prints nothing.
DOORS = {"cli/__init__.py", "cli/completion.py"}


@pytest.mark.slow
def test_only_the_doors_of_the_command_line_catch_our_errors():
    for file in package_modules():
        where = file.relative_to(ROOT / "gwnet")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ExceptHandler) and node.type is not None and str(where) not in DOORS:
                if isinstance(node.body[0], ast.Raise) and node.body[0].exc is None:
                    continue  # lets it pass, before a handler of every other exception
                caught = {name.id for name in ast.walk(node.type) if isinstance(name, ast.Name)}
                assert "GwnetError" not in caught, f"{where}, line {node.lineno}"


def test_the_linter_refuses_naive_times_and_nothing_excuses_them():
    lint = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["ruff"]["lint"]
    assert "DTZ" in lint["select"]
    assert not any(code.startswith("DTZ") for code in lint["ignore"])
    excused = re.compile(r"noqa[^\n]*DTZ")
    assert [str(file) for file in package_modules() if excused.search(file.read_text(encoding="utf-8"))] == []


def test_nothing_below_the_network_reads_the_clock_or_the_environment():
    reads = re.compile(r"\.now\(|\.utcnow\(|\.today\(|time\.time\(|os\.environ|os\.getenv")
    found = []
    for file in package_modules():
        where = file.relative_to(ROOT / "gwnet")
        if where.parts[0] in {"network", "cli"}:
            continue
        found += [
            f"{where}: {line.strip()}" for line in file.read_text(encoding="utf-8").splitlines() if reads.search(line)
        ]
    assert found == []
