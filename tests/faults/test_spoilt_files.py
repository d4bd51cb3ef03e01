"""Files that went wrong: refused with a plain sentence, or stored as another reader reads them; nothing between."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading

import pytest

from ..helpers import ROOT, with_tests
from .figures import note_figures
from .scale import SCALE
from .subjects import SHARES
from .trials import LONGEST_S

pytestmark = [pytest.mark.faults, pytest.mark.slow, pytest.mark.timeout(7200)]

COUNTS = {kind: round(SCALE.mutations * share) for kind, share in SHARES.items()}
#: Files of one process; the numbers of trials, and so the files, do not depend on it.
BATCH = 500
BATCHES = [
    (kind, first, min(BATCH, count - first)) for kind, count in COUNTS.items() for first in range(0, count, BATCH)
]
#: Silence after which a process is taken to hang [s]; on a busy machine the limit of the processor's time comes first.
SILENCE_S = 30 * LONGEST_S


def run_batch(kind, first, count):
    """Return what came of trials in a process of their own, and the number of the one in which it ended too early."""
    command = [sys.executable, "-P", "-m", "tests.faults.trials", kind, str(first), str(count)]
    results, begun = [], None
    with subprocess.Popen(
        command,
        cwd=ROOT,
        env=with_tests(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    ) as process:
        lines: queue.Queue[str | None] = queue.Queue()
        said: list[str] = []
        readers = [
            threading.Thread(target=lambda: [*map(lines.put, process.stdout), lines.put(None)]),
            threading.Thread(target=lambda: said.extend(process.stderr)),
        ]
        for reader in readers:
            reader.start()
        try:
            while (line := lines.get(timeout=SILENCE_S)) is not None:
                told = json.loads(line)
                begun = told.get("begin")
                if begun is None:
                    results.append(told)
        except queue.Empty:
            process.kill()
            said.append(f"nothing was heard for {SILENCE_S:g} s")
        for reader in readers:
            reader.join()
    if begun is not None or process.returncode:
        results.append({"number": begun, "how": "", "code": process.returncode, "faults": ["".join(said)[-2000:]]})
    return results


@pytest.mark.parametrize(("kind", "first", "count"), BATCHES)
def test_a_spoilt_file_is_refused_or_read_right(kind, first, count):
    results = run_batch(kind, first, count)
    wrong = [result for result in results if result["faults"]]
    refused = sum(result["code"] in (1, 2) for result in results)
    note_figures(
        f"spoilt {kind} {first}",
        files=len(results),
        refused=refused,
        accepted=len(results) - refused,
        faults=len(wrong),
    )
    told = [
        "\n  ".join(
            [
                f"{kind} {result['number']} ({result['how']}), exit code {result['code']}:",
                *result["faults"][:3],
                f"again: python -m tests.faults.trials {kind} {result['number']} 1",
            ]
        )
        for result in wrong
    ]
    assert not told, f"{len(wrong)} of {count} files:\n" + "\n".join(told[:10])
    assert len(results) == count
    assert 0 < refused < count
