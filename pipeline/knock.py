"""Has a step done by the process that is ready (`pipeline.ready`): what `python -m pipeline STEP` means while one is.

This runs once a step, as a script, and imports nothing but what is built into the interpreter, whose modules these are
on Linux, the only system where a process is ready: to import `os`, `json` and `socket`, and to look for installed
packages before, takes four times as long as all the rest, and a run has a hundred steps and more.
"""

import sys

READY = "TUSSOCK_READY"
"""Variable of the environment with the name of the socket at which the process waits."""
FILES = b"".join(number.to_bytes(4, sys.byteorder) for number in (0, 1, 2))
"""Open files that a step is given: standard input, output and error, as sendmsg(2) takes them (SCM_RIGHTS)."""
LENGTH_BYTES = 8
DIED = 1
"""Exit status of a step that ended without saying how: killed, or out of memory."""


def main(words: list[str], /) -> int:
    """Have a step done; its exit status."""
    import _signal  # type: ignore[import-not-found]
    import _socket
    import posix

    environment = dict(posix.environ)
    asking = _socket.socket(_socket.AF_UNIX, _socket.SOCK_STREAM)
    # A name for a socket that is no file, which a killed run would leave behind (unix(7), abstract sockets).
    asking.connect(b"\0" + environment[READY.encode()])
    told = [posix.getcwdb(), b"%d" % len(words), *(word.encode("utf-8", "surrogateescape") for word in words)]
    body = b"\0".join(told + [name + b"=" + value for name, value in environment.items()])
    head = len(body).to_bytes(LENGTH_BYTES, "big")
    asking.sendmsg([head], [(_socket.SOL_SOCKET, _socket.SCM_RIGHTS, FILES)])
    asking.sendall(body)
    process = asking.recv(LENGTH_BYTES, _socket.MSG_WAITALL)

    def hand_on(reason: int, _frame: object) -> None:
        """Hand a signal on to the copy that does the step, if it is still there."""
        try:  # noqa: SIM105 - contextlib would have to be imported
            posix.kill(int.from_bytes(process, "big"), reason)
        except ProcessLookupError:
            pass

    if len(process) == LENGTH_BYTES:
        for reason in (_signal.SIGTERM, _signal.SIGINT):
            _signal.signal(reason, hand_on)
    status = asking.recv(1)
    if not status:
        print(f"the step {words[0]} was killed; was there enough memory?", file=sys.stderr)
    return status[0] if status else DIED


if __name__ == "__main__":
    # The first two words are `-m pipeline`, as the rules say it.
    sys.exit(main(sys.argv[3:]))
