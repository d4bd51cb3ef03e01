"""Console examples of a Markdown page: finding them and running them.

A block is run when its fence says ``console test``. In it a line that begins with ``$ `` is a command, lines that begin
with ``> `` go on with it, and what stands below is what it prints: each line must come, in that order; a sign ``…``
stands for any text, alone on a line for any lines. A command must end with code 0, or with the code that it states in a
closing comment ``# exit 3``.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass, field

from ..forked import write_program
from ..helpers import surroundings

_FENCE = re.compile(r"^```console test\s*$(.*?)^```\s*$", re.MULTILINE | re.DOTALL)
_EXIT = re.compile(r"#\s*exit (\d+)\s*$")


@dataclass
class Example:
    """One command of a page and what it is said to print."""

    line: int
    command: str
    printed: list[str] = field(default_factory=list)

    @property
    def code(self):
        """Return the exit code that the page states."""
        stated = _EXIT.search(self.command)
        return int(stated[1]) if stated else 0


def examples(text):
    """Return the commands of all marked blocks of a page, in order."""
    found = []
    for block in _FENCE.finditer(text):
        first = text.count("\n", 0, block.start(1))
        for offset, line in enumerate(block[1].splitlines()):
            if line.startswith("$ "):
                found.append(Example(first + offset + 1, line[2:]))
            elif line == ">" or line.startswith("> "):
                found[-1].command += "\n" + line[2:]
            elif line.strip():
                found[-1].printed.append(line.rstrip())
    return found


def surroundings_with_gwnet(folder, *, is_fresh=False):
    """Return the environment of a shell in which ``gwnet`` is the program under test, perhaps in fresh processes."""
    programs = folder / "bin"
    programs.mkdir(parents=True)
    write_program(programs / "gwnet", is_fresh=is_fresh)
    made = surroundings(COLUMNS="110")
    made["PATH"] = f"{programs}:{made['PATH']}"
    return made


def run(example, folder, environment):
    """Run one command in a folder and check its exit code and what it prints."""
    shell = shutil.which("bash")
    done = subprocess.run(
        [shell, "-c", example.command],
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL,
        text=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    told = f"line {example.line}: $ {example.command}\n{done.stdout}"
    assert done.returncode == example.code, f"exit code {done.returncode}, not {example.code}; {told}"
    missing = first_missing(example.printed, done.stdout)
    assert missing is None, f"not printed: {missing!r}; {told}"


def first_missing(expected, printed):
    """Return the first expected line that is not printed where it should be, or None."""
    lines = [line.rstrip() for line in printed.splitlines() if line.strip()]
    place, anywhere = 0, True
    for wanted in expected:
        if wanted.strip() == "…":
            anywhere = True
            continue
        pattern = re.compile(".*".join(re.escape(part) for part in wanted.split("…")))
        reach = range(place, len(lines)) if anywhere else range(place, min(place + 1, len(lines)))
        hit = next((number for number in reach if pattern.fullmatch(lines[number])), None)
        if hit is None:
            return wanted
        place, anywhere = hit + 1, False
    return None
