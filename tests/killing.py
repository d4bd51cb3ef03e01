"""What the child processes of some tests begin with: a function that kills them at a call of the system."""

#: Text of the child: ``arm(owner, call, at, when)`` lets a process die at the at-th armed call, before or after it.
ARM = r"""
import os, signal

seen = 0


def arm(owner, call, at, when):
    original = getattr(owner, call)

    def counted(*args, **more):
        global seen
        seen += 1
        is_last = seen == at
        if is_last and when == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        try:
            return original(*args, **more)
        finally:
            if is_last:
                os.kill(os.getpid(), signal.SIGKILL)

    setattr(owner, call, counted)
"""
