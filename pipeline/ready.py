"""A process that has read all libraries, and does the steps of a run in copies of itself.

A step imports libraries for about a second before it begins, and a run has dozens of steps: on a small area more than
half of its time. `tussock draft` therefore starts one process that imports them once and waits at a socket. Snakemake
starts each step as it does without it; the step's process (`python -m pipeline STEP`) hands its words and its open
files over to the waiting one, which makes a copy of itself (fork) for the step, and ends as that copy ends.
Plain Snakemake, jobs of a cluster and systems other than Linux do without: there each step imports for itself.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

READY = "TUSSOCK_READY"
"""Variable of the environment with the name of the socket at which the process waits."""
STEP_ENVIRONMENT = {
    # One thread a step: jobs run side by side.
    "OMP_NUM_THREADS": "1",
    # Columns of returns come and go by the hundred; handing each back to the system (glibc's default for large pieces
    # of memory, mallopt(3)) costs a fifth of a block's time; keeping them until the step ends costs no more memory.
    "MALLOC_MMAP_THRESHOLD_": "4294967296",
    "MALLOC_TRIM_THRESHOLD_": "8589934592",
    "MALLOC_TOP_PAD_": "67108864",
}
"""What the environment of every step has to say, with or without a process that is ready."""
ALSO_READ = ("numba", "rasterio.features", "pyproj", "pyogrio", "scipy.interpolate", "PIL.Image")
"""Libraries that steps import only where they use them, so that importing the steps does not read them."""
FILES = (0, 1, 2)
"""Open files that a step is given: standard input, output and error."""
LENGTH_BYTES = 8
DIED = 1
"""Exit status of a step that ended without saying how: killed, or out of memory."""


# ---------------------------------------------------------------- the run


@contextmanager
def steps_ready() -> Iterator[None]:
    """While this lasts, steps that this process starts begin at once; without effect on systems other than Linux."""
    if sys.platform != "linux":
        yield
        return
    import secrets
    import subprocess

    place = f"tussock-{secrets.token_hex(16)}"
    with _listening(place) as listening:
        waiting = subprocess.Popen(
            [sys.executable, "-m", "pipeline.ready", str(listening.fileno())],
            stdin=subprocess.PIPE,
            pass_fds=[listening.fileno()],
            env=os.environ | STEP_ENVIRONMENT,
        )
    os.environ[READY] = place
    try:
        # Leaving closes its standard input, and so would a sudden end of this process: both end it.
        with waiting:
            try:
                yield
            finally:
                # As long as it reads libraries it does not look at its input, and a mapper whose area file is wrong
                # would wait for that; afterwards it does not listen to this.
                waiting.terminate()
    finally:
        del os.environ[READY]


def _listening(place: str) -> socket.socket:
    """A socket that steps can knock at before anybody answers."""
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    made.bind(_address(place))
    made.listen(128)
    return made


def _address(place: str) -> str:
    """A name for a socket that is no file, which a killed run would leave behind (unix(7), abstract sockets)."""
    return f"\0{place}"


# ---------------------------------------------------------------- the step


def ask(place: str, words: list[str], /) -> int:
    """Have a step done by the process that waits at this socket; the exit status of the step."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as asking:
        asking.connect(_address(place))
        body = json.dumps({"words": words, "folder": str(Path.cwd()), "environment": dict(os.environ)}).encode()
        socket.send_fds(asking, [len(body).to_bytes(LENGTH_BYTES, "big")], FILES)
        asking.sendall(body)
        process = int.from_bytes(_exactly(asking, LENGTH_BYTES), "big")
        for reason in (signal.SIGTERM, signal.SIGINT):
            signal.signal(reason, lambda number, _: _tell(process, number))
        status = asking.recv(1)
    if not status:
        print(f"the step {words[0]} was killed; was there enough memory?", file=sys.stderr)
    return status[0] if status else DIED


def _tell(process: int, number: int) -> None:
    """Hand a signal on to the copy that does the step, if it is still there."""
    with suppress(ProcessLookupError):
        os.kill(process, number)


def _exactly(connection: socket.socket, n_bytes: int) -> bytes:
    """So many bytes of a connection.

    Raises
    ------
    ConnectionError
        If it ends before.
    """
    read = b""
    while len(read) < n_bytes:
        piece = connection.recv(n_bytes - len(read))
        if not piece:
            raise ConnectionError("the process that does the steps has gone")
        read += piece
    return read


# ---------------------------------------------------------------- the process that waits


def wait_for_steps(listening: socket.socket, /) -> None:
    """Import what steps need, then do every step that is asked for, until standard input ends; then end all steps."""
    import select

    _read_libraries()
    # A run that is stopped waits for its steps, which are told themselves: this process ends with its input.
    for reason in (signal.SIGINT, signal.SIGTERM):
        signal.signal(reason, signal.SIG_IGN)
    running: set[int] = set()
    while True:
        begun, _, _ = select.select([listening, sys.stdin], [], [], 1.0)
        running -= {process for process in running if os.waitpid(process, os.WNOHANG)[0]}
        if sys.stdin in begun:
            break
        if listening in begun:
            running |= _begin(listening)
    for process in running:
        os.kill(process, signal.SIGTERM)


def _read_libraries() -> None:
    """Import every step and the libraries that steps import late."""
    import gc
    import importlib

    from pipeline.command import find_step
    from pipeline.compiled import begin_compiling
    from pipeline.plan.steps import STEPS

    for name in STEPS:
        find_step(name)
    for library in ALSO_READ:
        importlib.import_module(library)
    begin_compiling()
    # What is there now stays for good: looking through it for garbage would copy its pages into each step.
    gc.freeze()


def _begin(listening: socket.socket) -> set[int]:
    """Start the copy that does the next step; its process number. Who asks as another user is not answered."""
    connection, _ = listening.accept()
    with connection:
        if _user_of(connection) != os.getuid():
            return set()
        process = os.fork()
        if process:
            return {process}
        listening.close()
        os._exit(_answer(connection))


def _user_of(connection: socket.socket) -> int:
    """Number of the user whose process is at the other end (socket(7), SO_PEERCRED: process, user, group)."""
    import struct

    _, user, _ = struct.unpack(
        "3i", connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    )
    return int(user)


def _answer(connection: socket.socket) -> int:
    """Do the step that is asked for, and say on the connection how it ended."""
    for reason in (signal.SIGINT, signal.SIGTERM):
        signal.signal(reason, signal.SIG_DFL)
    length, files, _, _ = socket.recv_fds(connection, LENGTH_BYTES, len(FILES))
    asked = json.loads(_exactly(connection, int.from_bytes(length, "big")))
    connection.sendall(os.getpid().to_bytes(LENGTH_BYTES, "big"))
    for file, standard in zip(files, FILES, strict=True):
        os.dup2(file, standard)
        os.close(file)
    os.chdir(asked["folder"])
    os.environ.clear()
    os.environ.update(asked["environment"])
    status = _status_of(asked["words"])
    connection.sendall(bytes([status]))
    return status


def _status_of(words: list[str]) -> int:
    """The exit status of a step, whose messages and traceback are written by the time it is known."""
    import traceback

    from pipeline.command import run_step

    try:
        return run_step(words)
    except SystemExit as end:  # argparse has told what is wrong with the words
        return end.code if isinstance(end.code, int) else DIED
    except BaseException:
        traceback.print_exc()
        return DIED
    finally:
        sys.stdout.flush()
        sys.stderr.flush()


if __name__ == "__main__":
    wait_for_steps(socket.socket(fileno=int(sys.argv[1])))
