"""A process that has read all libraries, and does the steps of a run in copies of itself.

A step imports libraries for about a second before it begins, and a run has dozens of steps: on a small area more than
half of its time. `tussock draft` therefore starts one process that imports them once and waits at a socket. Snakemake
starts each step as it does without it, by `python -m pipeline STEP` in a shell; there, `pipeline.knock` hands the words
and the open files over to the waiting process, which makes a copy of itself (fork) for the step, and ends as that ends.
Plain Snakemake, jobs of a cluster and systems other than Linux do without: there each step imports for itself.
"""

from __future__ import annotations

import os
import shlex
import signal
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline import knock as knocking
from pipeline.knock import DIED, LENGTH_BYTES, READY

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
STANDARD_FILES = (0, 1, 2)
"""Open files that a step is given by who asks for it: standard input, output and error."""
ALSO_READ = ("numba", "rasterio.features", "pyproj", "pyogrio", "scipy.interpolate", "PIL.Image")
"""Libraries that steps import only where they use them, so that importing the steps does not read them."""


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


def to_begin_steps() -> str:
    """Words of a shell after which `python -m pipeline STEP` asks the process that is ready, where there is one."""
    knock = shlex.quote(str(Path(knocking.__file__)))
    return f'if [ -n "${{{READY}:-}}" ]; then python() {{ command python -S -E {knock} "$@"; }}; fi; '


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
            raise ConnectionError("who asked for a step has gone")
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
    length, files, _, _ = socket.recv_fds(connection, LENGTH_BYTES, len(STANDARD_FILES))
    folder, n_words, *told = _exactly(connection, int.from_bytes(length, "big")).split(b"\0")
    connection.sendall(os.getpid().to_bytes(LENGTH_BYTES, "big"))
    for file, standard in zip(files, STANDARD_FILES, strict=True):
        os.dup2(file, standard)
        os.close(file)
    os.chdir(folder)
    os.environ.clear()
    for variable in told[int(n_words) :]:
        name, _, value = variable.partition(b"=")
        os.environb[name] = value
    status = _status_of(list(map(os.fsdecode, told[: int(n_words)])))
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
