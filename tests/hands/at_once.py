"""Several hands at one record: processes that run commands of the program at the same moment."""

import os
from contextlib import ExitStack
from pathlib import Path

from ..forked import start
from ..helpers import Ran, surroundings

#: Longest that all hands may take [s].
LONGEST_S = 500.0


def run_at_once(commands, *, cwd):
    """Run command lines in processes of their own, all begun at the same moment; return what each gave back."""
    outputs = [[cwd / f"hand-{number}.{ending}" for ending in ("out", "err")] for number in range(len(commands))]
    with ExitStack() as stack:
        nothing = stack.enter_context(Path(os.devnull).open("rb"))
        gate, opener = os.pipe()
        hands = []
        for command, paths in zip(commands, outputs, strict=True):
            files = [nothing, *(stack.enter_context(path.open("wb")) for path in paths)]
            started = start(
                *("-m", "gwnet", *command),
                cwd=cwd,
                env=surroundings(),
                files=[file.fileno() for file in files],
                gate=gate,
            )
            hands.append(stack.enter_context(started))
        # all of them stand at the gate by now
        os.close(opener)
        os.close(gate)
        codes = [hand.wait(LONGEST_S) for hand in hands]
    return [
        Ran(code, *(path.read_text(encoding="utf-8") for path in paths))
        for code, paths in zip(codes, outputs, strict=True)
    ]
