"""Whether the tests notice small faults: one-token changes of operators, comparisons and constants, drawn at random.

Run: ``python tests/bench/mutate.py [COUNT [SEED [FOLDER ...]]]`` (default 50 changes with seed 1 in gwnet/hydro and
gwnet/analysis; a FOLDER may be one module). Prints each change with ``noticed`` (and by which test) or ``SURVIVED``,
and the share that was noticed. A change that survives is either equivalent, or shows what no test looks at: then write
a test of that behaviour, from a published value or a property that must hold, not of the line.

The tests are collected once and run once without a change. That run tells which functions each test calls and how long
it takes; a test that fails in it is named and left out. Each change is then made in a forked process, in memory: the
functions of the changed module get their code anew, and those tests run that call the changed function, first those of
the module's own layer and the quickest, until one fails. No file is written. Changes outside functions (constants,
defaults of fields) need a fresh import, so the files of tests that import the module run for them.

``--tests PATH ...`` names other tests than those of FOLDERS_OF_TESTS, for example of the layers above. ``--only PLACE
...`` tries those changes of the sample whose place begins so (``gwnet/hydro/arrays.py:40``), for example again after
tests were added. ``--learned FILE`` keeps what the run without a change told, for another run of the same code; tests that were
added since then run for every change. ``--budget`` is the processor time that the tests of one change may take [s].
``--list`` prints the sample and runs nothing. A hundred changes take about ten minutes of one core.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import importlib
import importlib.machinery
import io
import os
import pickle
import random
import re
import resource
import sys
import time
import tokenize
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, NamedTuple

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("gwnet/hydro", "gwnet/analysis")
FOLDERS_OF_TESTS = ("tests/hydro", "tests/published", "tests/analysis")

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

#: Examples that a property test draws at most.
FEW = 20

#: Processor time of the tests that are run for one change, as measured without a change [s].
BUDGET_S = 30.0

#: Processor time after which a change is taken to hang, and so as noticed [s].
HANGS_S = 300


class Change(NamedTuple):
    """A change of one token of a module."""

    path: Path
    line: int
    column: int
    token: str
    other: str

    @property
    def place(self) -> str:
        """Return where the change is, as it is printed."""
        return f"{self.path.relative_to(ROOT)}:{self.line}"

    def __str__(self) -> str:
        text = self.path.read_text(encoding="utf-8").split("\n")[self.line - 1].strip()
        return f"{self.place} {self.token} -> {self.other}    {text}"


class Learned(NamedTuple):
    """What the run without a change told: of which code, functions called by each test and file, times [s], failures."""

    of: str
    called: dict[str, set[tuple[str, str, int]]]
    shared: dict[str, set[tuple[str, str, int]]]
    seconds: dict[str, float]
    failed: list[str]


def changes(path: Path) -> list[Change]:
    """Return the changes that may be made in a module."""
    source = path.read_text(encoding="utf-8")
    tree = ast.parse(source)
    quiet, types = quiet_lines(tree), types_of_variables(tree)
    made = []
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        line, column = token.start
        if line in quiet or token.type not in (tokenize.OP, tokenize.NAME, tokenize.NUMBER):
            continue
        other = larger(token.string) if token.type == tokenize.NUMBER else SWAPS.get(token.string)
        if token.string == "is" and token.line[column:].startswith("is not"):
            made.append(Change(path, line, column, "is not", "is"))
        elif other is not None and not is_keyword_argument(token) and not is_idle(token, types):
            made.append(Change(path, line, column, token.string, other))
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


def types_of_variables(tree: ast.Module) -> list[tuple[int, int, int]]:
    """Return line, first and last column of the types written beside variables, which nothing evaluates."""
    types = [node.annotation for node in ast.walk(tree) if isinstance(node, ast.AnnAssign)]
    return [(one.lineno, one.col_offset, one.end_col_offset or 0) for one in types]


def is_idle(token: tokenize.TokenInfo, types: list[tuple[int, int, int]]) -> bool:
    """Return whether a change cannot do anything: in a type, or of `strict` where lengths are always equal."""
    line, column = token.start
    in_type = any(line == where and first <= column < last for where, first, last in types)
    return in_type or token.line[:column].endswith("strict=")


def larger(number: str) -> str | None:
    """Return a number one larger, or None for what is not a plain one."""
    if re.fullmatch(r"[\d_]+", number):
        return str(int(number) + 1)
    return repr(float(number) + 1.0) if re.fullmatch(r"[\d_.]+(e[+-]?\d+)?", number) else None


def is_keyword_argument(token: tokenize.TokenInfo) -> bool:
    """Return whether a star is part of the syntax of an argument and no operator."""
    before = token.line[: token.start[1]].rstrip()
    return token.string in ("*", "**") and (not before or before[-1] in "(,[{=")


def changed_code(change: Change) -> CodeType:
    """Return the code of a module with a change."""
    lines = change.path.read_text(encoding="utf-8").split("\n")
    text = lines[change.line - 1]
    lines[change.line - 1] = text[: change.column] + change.other + text[change.column + len(change.token) :]
    return compile("\n".join(lines), str(change.path), "exec", dont_inherit=True)


def function_of(change: Change) -> tuple[str, str, int] | None:
    """Return the file, qualified name and first line of the function that a change is in; None outside functions."""
    inner = None
    for code in codes(compile(change.path.read_text(encoding="utf-8"), str(change.path), "exec", dont_inherit=True)):
        lines = [line for part in codes(code) for _, _, line in part.co_lines() if line]
        is_named = not code.co_name.startswith("<") or code.co_name == "<lambda>"  # no comprehension
        is_function = is_named and code.co_flags & 0x1  # CO_OPTIMIZED: no module, no class body
        if is_function and code.co_firstlineno <= change.line <= max(lines):
            inner = key_of(code)
    return inner


def codes(code: CodeType) -> Iterator[CodeType]:
    """Yield a code object and all within, the outer first."""
    yield code
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield from codes(part)


def key_of(code: CodeType) -> tuple[str, str, int]:
    """Return what names a function in the process without and with a change, in whichever checkout."""
    return code.co_filename.removeprefix(f"{ROOT}/"), code.co_qualname, code.co_firstlineno


def digest_of_code() -> str:
    """Return what tells whether the files of the changed folders are still the same, in whichever checkout."""
    digest = hashlib.sha256()
    for path in sorted(path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py")):
        digest.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def apply_in_memory(change: Change) -> None:
    """Give the functions of a module, imported before, the code that they have with a change."""
    import gc

    importlib.import_module(dotted(change.path))
    fresh = {key_of(code): code for code in codes(changed_code(change))}
    gc.unfreeze()  # what the tests keep out of the search for garbage is not listed either
    for found in gc.get_objects():
        if isinstance(found, FunctionType) and found.__code__.co_filename == str(change.path):
            found.__code__ = fresh.get(key_of(found.__code__), found.__code__)


def apply_on_import(change: Change) -> None:
    """Let the module, not yet imported, be imported with a change."""
    get_code = importlib.machinery.SourceFileLoader.get_code

    def get_changed(self: importlib.machinery.SourceFileLoader, name: str) -> CodeType | None:
        return changed_code(change) if self.path == str(change.path) else get_code(self, name)

    importlib.machinery.SourceFileLoader.get_code = get_changed  # type: ignore[method-assign, assignment]


def dotted(path: Path) -> str:
    """Return the name of a module."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def tests_importing(path: Path, places: list[str]) -> list[str]:
    """Return the files of tests that import a module, or else those that import a module that imports it."""
    tests = [test for place in places for test in ([ROOT / place] if place.endswith(".py") else test_files(place))]
    users, seen = {dotted(path)}, set[str]()
    while users - seen:
        direct = [test for test in tests if imports(test) & users]
        if direct:
            return [str(test.relative_to(ROOT)) for test in direct]
        seen |= users
        users = {dotted(user) for user in (ROOT / "gwnet").glob("**/*.py") if imports(user) & users}
    return []


def test_files(folder: str) -> list[Path]:
    """Return the files of tests in a folder."""
    return sorted((ROOT / folder).glob("**/test_*.py"))


def imports(file: Path, known: dict[Path, set[str]] = {}) -> set[str]:  # noqa: B006 (remembered between calls)
    """Return the names that a file imports."""
    if file not in known:
        known[file] = set()
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and not node.level and node.module:
                known[file] |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return known[file]


class Trials:
    """A plugin that tries changes on tests, collected once, instead of running them."""

    def __init__(self, sample: list[Change], asked: argparse.Namespace) -> None:
        self.sample, self.places, self.budget_s = sample, asked.tests, asked.budget
        self.kept = Path(asked.learned).absolute() if asked.learned else None
        self.noticed: dict[Change, str] = {}
        self.learned = Learned(digest_of_code(), {}, {}, {}, [])
        self.calls: set[tuple[str, str, int]] | None = None
        self.pipe: int | None = None

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool | None:
        """Run all tests once to learn what they call, then for each change those that call what it changes."""
        if self.pipe is not None:
            return None
        for layer in FOLDERS:
            for path in sorted((ROOT / layer).rglob("*.py")):
                importlib.import_module(dotted(path))
        known = pickle.loads(self.kept.read_bytes()) if self.kept is not None and self.kept.exists() else None
        # functions are known by file and line: of other code, no test would seem to call them
        if known is not None and known.of == self.learned.of:
            self.learned = known
        else:
            told = in_fork(partial(self.learn, session.items), 3600)
            self.learned = pickle.loads(told)
            if self.kept is not None:
                self.kept.write_bytes(told)
        total = sum(self.learned.seconds.values())
        print(f"{len(session.items)} tests, {total:.0f} s without a change", flush=True)
        for failed in self.learned.failed:
            print(f"left out, fails without a change: {failed}", flush=True)
        for change in self.sample:
            function = function_of(change)
            if function is not None:
                items = self.choose(session.items, change, function)
                answer = in_fork(partial(self.attempt, change, items))
                report(change, answer, f"{len(items)} tests")
                self.noticed |= {change: answer.decode()} if answer else {}
        return True

    def learn(self, items: list[pytest.Item], pipe: int) -> None:
        """Run tests without a change and write down what they call."""
        ours = tuple(str(ROOT / layer) for layer in FOLDERS)
        seen: dict[CodeType, bool] = {}

        def trace(frame: Any, *_: Any) -> None:
            code = frame.f_code
            is_ours = seen.get(code)
            if is_ours is None:
                is_ours = seen[code] = code.co_filename.startswith(ours)
            if is_ours and self.calls is not None:
                self.calls.add(key_of(code))

        for item, following in in_turn(items):
            self.calls = self.learned.called.setdefault(item.nodeid, set())
            start = time.process_time()
            sys.settrace(trace)
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            sys.settrace(None)
            self.learned.seconds[item.nodeid] = time.process_time() - start
        write(pipe, pickle.dumps(self.learned))

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Any:
        """Count what a fixture calls that several tests share for all tests of the file."""
        mine, file = self.calls, request.node.nodeid.split("::")[0]
        if mine is None or fixturedef.scope == "function":
            return (yield)
        self.calls = self.learned.shared.setdefault(file, set())
        try:
            return (yield)
        finally:
            mine |= self.calls
            self.calls = mine

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note a failure without a change; with one, tell it and end the process."""
        if report.failed and self.pipe is not None:
            write(self.pipe, report.nodeid.encode())
            os._exit(0)
        if report.failed:
            self.learned.failed.append(report.nodeid)

    def choose(self, items: list[pytest.Item], change: Change, function: tuple[str, str, int]) -> list[pytest.Item]:
        """Return the tests for a change: those that call the function, own layer and quick files first, in the budget."""
        learned = self.learned
        files: dict[str, list[pytest.Item]] = {}
        for item in items:
            file = item.nodeid.split("::")[0]
            calls = learned.called.get(item.nodeid, {function}) | learned.shared.get(file, set())
            if function in calls and item.nodeid not in learned.failed:
                files.setdefault(file, []).append(item)
        own = set(tests_importing(change.path, self.places))
        layer = "tests/" + change.path.relative_to(ROOT).parts[1]

        def seconds(some: list[pytest.Item]) -> float:
            return sum(learned.seconds.get(item.nodeid, 0.0) for item in some)

        chosen: list[pytest.Item] = []
        for file in sorted(files, key=lambda file: (file not in own, not file.startswith(layer), seconds(files[file]))):
            for item in sorted(files[file], key=lambda item: seconds([item])):
                if chosen and seconds([*chosen, item]) > self.budget_s:
                    return chosen
                chosen.append(item)
        return chosen

    def attempt(self, change: Change, items: list[pytest.Item], pipe: int) -> None:
        """Run tests with a change made in memory; the first failure ends the process."""
        self.pipe, self.calls = pipe, None
        apply_in_memory(change)
        for item, following in in_turn(items):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)

    def try_outside_functions(self) -> None:
        """Try the changes of constants and defaults, each with a fresh import of the package."""
        for change in self.sample:
            if function_of(change) is not None:
                continue
            files = tests_importing(change.path, self.places)
            answer = in_fork(partial(self.attempt_fresh, change, files))
            report(change, answer, f"{len(files)} files")
            self.noticed |= {change: answer.decode()} if answer else {}

    def attempt_fresh(self, change: Change, files: list[str], pipe: int) -> None:
        """Run files of tests with a changed module imported; the first failure ends the process."""
        self.pipe = pipe
        apply_on_import(change)
        if files and pytest.main([*OPTIONS, "-x", *files], plugins=[self]) != pytest.ExitCode.OK:
            write(pipe, f"collecting {' '.join(files)}".encode())


#: Options of pytest: one process, no cache, the same examples each time.
OPTIONS = ["-q", "-s", "-n", "0", "--assert=plain", "-p", "no:cacheprovider", "--hypothesis-seed=0"]


def in_turn(items: list[pytest.Item]) -> Iterator[tuple[pytest.Item, pytest.Item | None]]:
    """Yield each test with the one that follows, which tells what fixtures are kept."""
    for place, item in enumerate(items):
        yield item, items[place + 1] if place + 1 < len(items) else None


def in_fork(work: Callable[[int], None], most_s: int = HANGS_S) -> bytes:
    """Do work in a forked process and return what it wrote, or how it ended where it failed or hung."""
    incoming, outgoing = os.pipe()
    sys.stdout.flush()
    child = os.fork()
    if not child:
        os.close(incoming)
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s))
            work(outgoing)
        except BaseException as error:
            write(outgoing, f"ended with {type(error).__name__}: {error}".encode())
        os._exit(0)
    os.close(outgoing)
    with os.fdopen(incoming, "rb") as stream:
        answer = stream.read()
    _, status = os.waitpid(child, 0)
    return answer or (f"ended with signal {os.WTERMSIG(status)}".encode() if os.WIFSIGNALED(status) else b"")


def write(pipe: int, content: bytes) -> None:
    """Write all of a content to a pipe."""
    while content:
        content = content[os.write(pipe, content) :]


def report(change: Change, answer: bytes, tried: str) -> None:
    """Print what became of a change."""
    print(f"noticed  {change}    [{answer.decode()}]" if answer else f"SURVIVED {change}    [{tried}]", flush=True)


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


def draw(count: int, seed: int, folders: list[str]) -> tuple[list[Change], int]:
    """Return a sample of changes, and how many there could be; all of them where fewer are possible than asked for."""
    everything = [change for folder in folders for path in modules(ROOT / folder) for change in changes(path)]
    return random.Random(seed).sample(everything, min(count, len(everything))), len(everything)


def modules(place: Path) -> list[Path]:
    """Return the modules of a folder, or the one that is named."""
    return sorted(place.rglob("*.py")) if place.is_dir() else [place]


def main(asked: argparse.Namespace) -> None:
    """Print what became of a sample of changes."""
    sample, possible = draw(asked.count, asked.seed, asked.folders or list(FOLDERS))
    sample = [change for change in sample if change.place.startswith(tuple(asked.only))]
    if asked.list:
        print(*sample, sep="\n")
        return
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    sys.dont_write_bytecode = True
    load_libraries()
    draw_few_examples()
    trials = Trials(sample, asked)
    trials.try_outside_functions()
    if any(function_of(change) for change in sample):
        pytest.main([*OPTIONS, *asked.tests], plugins=[trials])
    print(f"{len(trials.noticed)} of {len(sample)} changes noticed, {possible} possible, seed {asked.seed}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("count", nargs="?", type=int, default=50)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("folders", nargs="*")
    parser.add_argument("--tests", nargs="+", default=list(FOLDERS_OF_TESTS))
    parser.add_argument("--only", nargs="+", default=[""])
    parser.add_argument("--learned")
    parser.add_argument("--budget", type=float, default=BUDGET_S)
    parser.add_argument("--list", action="store_true")
    main(parser.parse_args())
