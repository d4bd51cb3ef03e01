"""Several hands at one record: processes that run commands of the program at the same moment."""

import json
import multiprocessing
import os
import sys
from importlib import import_module
from pathlib import Path

from ..helpers import Ran, run_python, with_tests

#: What every hand needs; loaded before the hands are made, so that they begin together.
_NEEDED = (
    "gwnet.cli.load",
    "gwnet.network.core",
    "gwnet.ingest.tables.load",
    "gwnet.ingest.readers.delimited",
    "gwnet.ingest.loggers.load",
    "gwnet.ingest.loggers.open",
    "gwnet.analysis.checks.quality",
    "gwnet.analysis.loggers.corrections",
    "gwnet.analysis.review.decide",
    "gwnet.products.rounds",
)


def run_at_once(commands, *, cwd, timeout=500):
    """Run command lines in processes of their own, all begun at the same moment; return what each gave back."""
    plan = cwd / "hands.json"
    plan.write_text(json.dumps([[str(word) for word in command] for command in commands]), encoding="utf-8")
    ran = run_python("-m", "tests.hands.at_once", plan.name, cwd=cwd, env=with_tests(), timeout=timeout)
    assert ran.code == 0, ran.err
    return [Ran(*answer) for answer in json.loads((cwd / "answers.json").read_text(encoding="utf-8"))]


def _hand(number, words, start):
    """Run one command line with its output in files, once all hands are there."""
    for stream, ending in ((1, "out"), (2, "err")):
        target = os.open(f"hand-{number}.{ending}", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(target, stream)
    start.wait()
    from gwnet.cli import main

    code = main(words)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


def _all_hands(plan):
    for name in _NEEDED:
        import_module(name)
    commands = json.loads(Path(plan).read_text(encoding="utf-8"))
    context = multiprocessing.get_context("fork")
    start = context.Barrier(len(commands))
    hands = [context.Process(target=_hand, args=(number, words, start)) for number, words in enumerate(commands)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    read = [
        [Path(f"hand-{number}.{ending}").read_text(encoding="utf-8") for ending in ("out", "err")]
        for number in range(len(hands))
    ]
    answers = [(hand.exitcode, *texts) for hand, texts in zip(hands, read, strict=True)]
    Path("answers.json").write_text(json.dumps(answers), encoding="utf-8")


if __name__ == "__main__":
    _all_hands(sys.argv[1])
