"""What ``gwnet backup`` and ``gwnet restore`` say about a copy."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gwnet.cli import DONE_WITH_FINDINGS, output

if TYPE_CHECKING:
    from gwnet.store.backup import Copied


def report(made: Copied, done: str) -> int | None:
    """Say what was copied and verified; return the exit code."""
    from gwnet.store.revision import HEAD

    output.say(f"{done} {made.describe()}")
    if made.revision != HEAD:
        output.say(f"It is at revision {made.revision}; run 'gwnet upgrade' before you use it.")
    for name in made.damaged:
        output.say(f"The kept file {name} is not what was loaded, in the record as in the copy: run 'gwnet doctor'.")
    return DONE_WITH_FINDINGS if made.damaged else None
