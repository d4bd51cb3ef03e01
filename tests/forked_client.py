"""Asks the server of `tests.forked` to run Python, with this process's streams, folder and environment.

Run as a program, ``python -S -E forked_client.py SOCKET -m gwnet levels`` does what ``python -m gwnet levels`` does and
ends as that does. It starts dozens of times in a test, so it loads no more than the interpreter itself has.
"""

import _socket
import os
import sys

#: Bytes of a number on the wire: the length of what is asked, the process, its exit code.
NUMBER = 4


def ask(address, arguments, *, folder, environment, files):
    """Ask for a process that runs Python with these arguments; return the connection, which then tells of it.

    The files are its standard input, output and error, and any that it is held by: see `tests.forked.start`.
    """
    parts = [str(len(arguments)), *arguments, folder, *(f"{name}={value}" for name, value in environment.items())]
    asked = b"\0".join(os.fsencode(part) for part in parts)
    connection = _socket.socket(_socket.AF_UNIX, _socket.SOCK_STREAM)
    connection.connect(address)
    rights = b"".join(file.to_bytes(4, sys.byteorder) for file in files)
    length = len(asked).to_bytes(NUMBER, "big")
    connection.sendmsg([length], [(_socket.SOL_SOCKET, _socket.SCM_RIGHTS, rights)])
    connection.sendall(asked)
    return connection


def hear(connection):
    """Return the next number that a connection tells: first the process, then its exit code, negative for a signal."""
    heard = b""
    while len(heard) < NUMBER:
        more = connection.recv(NUMBER - len(heard))
        if not more:
            message = "The server of forked processes has ended: what it says is in the file log beside its socket."
            raise ConnectionError(message)
        heard += more
    return int.from_bytes(heard, "big", signed=True)


def main():
    """Run what the arguments say and end in the same way."""
    address, *arguments = sys.argv[1:]
    connection = ask(
        address,
        arguments,
        folder=os.getcwd(),  # noqa: PTH109 (pathlib would be loaded)
        environment=os.environ,
        files=(0, 1, 2),
    )
    hear(connection)
    code = hear(connection)
    os._exit(code if code >= 0 else 128 - code)  # as a shell tells of a signal


if __name__ == "__main__":
    main()
