"""What takes long to make and is never changed: made by one of the processes that share the tests, used by all."""

import os
import time

#: Longest that one process waits for another [s].
LONGEST_S = 300.0


def made_once(tmp_path_factory, name, make):
    """Return the folder that `make` filled, in this process or in another of the same run of the tests.

    Nothing in it may be changed: a test that needs to works on a copy.
    """
    base = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        # the folder of the run, in which each process has its own
        base = base.parent
    folder, is_made, has_failed = (base / f"{name}{ending}" for ending in ("", ".made", ".failed"))
    try:
        folder.mkdir()
    except FileExistsError:
        end = time.monotonic() + LONGEST_S
        while not is_made.exists():
            assert not has_failed.exists(), f"{name} could not be made by another process: see its failure"
            assert time.monotonic() < end, f"{name} was not made by another process in {LONGEST_S:g} s"
            time.sleep(0.1)
        return folder
    try:
        make(folder)
    except BaseException:
        has_failed.touch()
        raise
    is_made.touch()
    return folder
