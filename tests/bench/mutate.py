"""Whether the tests notice small faults: one-token changes of operators, comparisons and constants, drawn at random.

Run: ``python tests/bench/mutate.py [COUNT [SEED [FOLDER ...]]]`` (default 50 changes with seed 1 in gwnet/hydro and
gwnet/analysis). Each change is made in a copy of the package, and the tests that import the changed module (or, where
there are none, a module that imports it) run until the first fails. Prints each change with ``noticed`` or ``survived``,
and the share that was noticed. A change that survives is either equivalent or shows what no test looks at.
"""

from __future__ import annotations

import ast
import importlib
import io
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
import tokenize
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("gwnet/hydro", "gwnet/analysis")

#: What a token becomes; numbers become one larger.
SWAPS = {
    "+": "-",
    "-": "+",
    "*": "/",
    "/": "*",
    "//": "*",
    "%": "*",
    "**": "*",
    "@": "+",
    "<": "<=",
    "<=": "<",
    ">": ">=",
    ">=": ">",
    "==": "!=",
    "!=": "==",
    "+=": "-=",
    "-=": "+=",
    "*=": "/=",
    "/=": "*=",
    "&": "|",
    "|": "&",
    "&=": "|=",
    "|=": "&=",
    "and": "or",
    "or": "and",
    "True": "False",
    "False": "True",
    "is": "is not",
}

#: Files of tests that are run for a change at most, the module's own first.
MOST_FILES = 4

#: Examples that a property test draws at most.
FEW = 20

#: Longest time that the tests of one change may take [s]; one that hangs is noticed.
LONGEST_S = 600


def changes(path: Path) -> list[tuple[Path, int, int, str, str]]:
    """Return the changes that may be made in a module: path, line, column, token and what it becomes."""
    source = path.read_text(encoding="utf-8")
    quiet = quiet_lines(ast.parse(source))
    made = []
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        line, column = token.start
        if line in quiet or token.type not in (tokenize.OP, tokenize.NAME, tokenize.NUMBER):
            continue
        other = larger(token.string) if token.type == tokenize.NUMBER else SWAPS.get(token.string)
        if other is not None and not is_keyword_argument(token, source):
            made.append((path, line, column, token.string, other))
    return made


def quiet_lines(tree: ast.Module) -> set[int]:
    """Return the lines of imports, signatures, types of fields and decorators, where a change means nothing."""
    lines: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            first = min([node.lineno, *(part.lineno for part in node.decorator_list)])
            lines |= set(range(first, node.body[0].lineno))
        elif isinstance(node, ast.Import | ast.ImportFrom) or (isinstance(node, ast.AnnAssign) and node.value is None):
            lines |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
        elif isinstance(node, ast.ClassDef):
            lines |= {node.lineno, *(part.lineno for part in node.decorator_list)}
    return lines


def larger(number: str) -> str | None:
    """Return a number one larger, or None for what is not a plain one."""
    if re.fullmatch(r"[\d_]+", number):
        return str(int(number) + 1)
    return repr(float(number) + 1.0) if re.fullmatch(r"[\d_.]+(e[+-]?\d+)?", number) else None


def is_keyword_argument(token: tokenize.TokenInfo, source: str) -> bool:
    """Return whether a star or a sign is part of the syntax of an argument and no operator."""
    before = token.line[: token.start[1]].rstrip()
    return token.string in ("*", "**") and (not before or before[-1] in "(,[{=")


def with_change(source: str, line: int, column: int, token: str, other: str) -> str:
    """Return the source of a module with a change."""
    lines = source.split("\n")
    text = lines[line - 1]
    lines[line - 1] = text[:column] + other + text[column + len(token) :]
    return "\n".join(lines)


def tests_of(path: Path) -> list[str]:
    """Return the tests that import a module, or those that import a module that imports it."""
    name = dotted(path)
    direct = importing(name, [*ROOT.glob("tests/*/test_*.py")])
    if not direct:
        above = importing(name, [*ROOT.glob("gwnet/**/*.py")])
        direct = [test for user in above for test in importing(dotted(user), [*ROOT.glob("tests/*/test_*.py")])]
    layers = {"hydro": ("hydro", "published"), "analysis": ("analysis",)}[path.relative_to(ROOT).parts[1]]
    near = {test for test in direct if test.parent.name in layers} or set(direct)
    # the module's own tests first: they notice most
    ordered = sorted(near, key=lambda test: (path.stem not in test.stem, test))
    return [str(test.relative_to(ROOT)) for test in ordered[:MOST_FILES]]


def dotted(path: Path) -> str:
    """Return the name of a module."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def importing(name: str, files: list[Path]) -> list[Path]:
    """Return the files that import a module."""
    package, _, module = name.rpartition(".")
    pattern = re.compile(
        rf"from {re.escape(name)} import|import {re.escape(name)}\b|from {re.escape(package)} import .*\b{module}\b"
    )
    return [file for file in files if pattern.search(file.read_text(encoding="utf-8"))]


def is_noticed(copy: Path, change: tuple[Path, int, int, str, str]) -> bool:
    """Return whether a test fails with a change in a copy of the package, in a forked process."""
    path = change[0]
    source, target = path.read_text(encoding="utf-8"), copy / path.relative_to(ROOT)
    target.write_text(with_change(source, *change[1:]), encoding="utf-8")
    child = os.fork()
    if not child:
        try:
            code = run_tests(copy, tests_of(path))
        except BaseException:
            code = 3
        os._exit(code)
    try:
        end = time.monotonic() + LONGEST_S
        while time.monotonic() < end:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return status != 0
            time.sleep(0.05)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return True
    finally:
        target.write_text(source, encoding="utf-8")


def run_tests(copy: Path, tests: list[str]) -> int:
    """Run tests on a copy of the package; return 0 where all pass."""
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    os.chdir(copy)
    sys.path.insert(0, str(copy))
    sys.dont_write_bytecode = True
    draw_few_examples()
    return int(pytest.main(["-x", "-q", "--assert=plain", "-p", "no:cacheprovider", "--hypothesis-seed=0", *tests]))


def draw_few_examples() -> None:
    """Let property tests draw few examples: one change of many is noticed by the first ones or hardly at all."""
    import hypothesis

    make = hypothesis.settings.__init__

    def make_small(self: Any, parent: Any = None, **options: Any) -> None:
        make(self, parent, **{**options, "max_examples": min(options.get("max_examples", FEW), FEW)})

    hypothesis.settings.__init__ = make_small  # type: ignore[method-assign]


def load_libraries() -> None:
    """Import what the tests need, so that each forked process has it; nothing of the package."""
    for name in ("pandas", "scipy.stats", "scipy.spatial", "scipy.optimize", "shapely", "hypothesis.extra.numpy"):
        importlib.import_module(name)


def main(count: int, seed: int, folders: list[str]) -> None:
    """Print what became of a sample of changes."""
    everything = [one for folder in folders for path in sorted((ROOT / folder).rglob("*.py")) for one in changes(path)]
    sample = random.Random(seed).sample(everything, count)
    noticed, sound = 0, set[Path]()
    load_libraries()
    sys.path[:] = [place for place in sys.path if Path(place or ".").resolve() != ROOT]
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for part in ("gwnet", "tests", "migrations", "demo_network", "reports"):
            shutil.copytree(ROOT / part, copy / part)
        shutil.copy(ROOT / "pyproject.toml", copy)
        for change in sample:
            if change[0] not in sound and is_noticed(copy, (*change[:4], change[3])):
                print(f"without a change the tests of {change[0].relative_to(ROOT)} fail: {tests_of(change[0])}")
                continue
            sound.add(change[0])
            path, line, _, token, other = change
            found = is_noticed(copy, change)
            noticed += found
            word = "noticed " if found else "SURVIVED"
            text = path.read_text(encoding="utf-8").split("\n")[line - 1].strip()
            print(f"{word} {path.relative_to(ROOT)}:{line} {token} -> {other}    {text}", flush=True)
    print(f"{noticed} of {count} changes noticed, {len(everything)} possible, seed {seed}")


if __name__ == "__main__":
    numbers = [word for word in sys.argv[1:] if word.isdigit()]
    folders = [word for word in sys.argv[1:] if not word.isdigit()] or list(FOLDERS)
    main(int(numbers[0]) if numbers else 50, int(numbers[1]) if len(numbers) > 1 else 1, folders)
