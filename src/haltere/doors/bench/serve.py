"""Opens the bench: a port of this computer only, a key, a worker, a browser."""

from __future__ import annotations

import secrets
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import uvicorn

from haltere.doors.bench.app import make_app
from haltere.doors.bench.guard import Guard
from haltere.doors.bench.hiring import Hired
from haltere.errors import UsageError
from haltere.fieldbook import open_book

HERE = "127.0.0.1"


class _Server(uvicorn.Server):
    """Tells open streams that the end has come, so that leaving takes no time."""

    def __init__(self, config: uvicorn.Config, closing: Callable[[], None]) -> None:
        super().__init__(config)
        self._closing = closing

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._closing()
        super().handle_exit(sig, frame)


def serve(folder: Path, port: int, say: Callable[[str], None], browse: bool) -> None:
    """Serve the bench until it is interrupted.

    Parameters
    ----------
    folder : Path
        The book's folder.
    port : int
        Port to listen on; 0 takes a free one.
    say : callable
        Told the address, once it answers.
    browse : bool
        Whether to open a browser there.

    Raises
    ------
    BookError
        When the book can't be opened.
    UsageError
        When the port is taken.
    """
    open_book(folder).close()  # what is wrong with it is better said before a page opens
    listening = _bound(port)
    taken = int(listening.getsockname()[1])
    token = secrets.token_urlsafe(24)
    app = make_app(folder)
    config = uvicorn.Config(
        Guard(app, taken, token),
        access_log=False,
        log_level="error",
        server_header=False,
        proxy_headers=False,
        ws="none",
        lifespan="on",
        timeout_graceful_shutdown=5,
    )

    def closing() -> None:
        app.state.closing.set()

    server = _Server(config, closing)
    address = f"http://{HERE}:{taken}/enter?t={token}"
    say(f"The bench is open: {address}")
    say("It is for this computer only. Leave this window open; Ctrl-C closes the bench.")
    if browse:
        _browse(address)
    with Hired(folder):
        try:
            server.run(sockets=[listening])
        except KeyboardInterrupt:
            return


def _bound(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HERE, port))
        listening.listen(128)  # who opens the address at once waits instead of being turned away
    except (OSError, OverflowError) as error:
        listening.close()
        raise UsageError(
            f"--port {port}: is taken or not allowed; leave --port away, and a free one is found"
        ) from error
    return listening


def _browse(address: str) -> None:
    import webbrowser

    timer = threading.Timer(0.8, webbrowser.open, (address,))
    timer.daemon = True
    timer.start()
