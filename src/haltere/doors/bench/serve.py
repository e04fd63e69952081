"""Opens the bench: a port of this computer, a key, a worker, a browser; on a wish for a phone."""

from __future__ import annotations

import asyncio
import secrets
import socket
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from types import FrameType
from typing import Any, Literal

import uvicorn
from fastapi import FastAPI

from haltere.doors.bench.app import make_app
from haltere.doors.bench.certificate import Certificate, make_certificate
from haltere.doors.bench.guard import Guard, PhoneGuard
from haltere.doors.bench.hiring import Hired
from haltere.doors.bench.pairing import LIMITS as PAIRING
from haltere.doors.bench.pairing import Pairing, address_in_network
from haltere.doors.bench.phone import for_terminal
from haltere.errors import UsageError
from haltere.fieldbook import open_book

HERE = "127.0.0.1"


class _Server(uvicorn.Server):
    """Tells open streams that the end has come, so that leaving takes no time.

    A second server, for phones, begins after it and ends before it.
    """

    def __init__(
        self, config: uvicorn.Config, begun: Callable[[], None], closing: Callable[[], None]
    ) -> None:
        super().__init__(config)
        self._begun, self._closing = begun, closing
        self._beside: tuple[_Second, socket.socket] | None = None
        self._task: asyncio.Task[None] | None = None

    def with_second(self, second: _Second, listening: socket.socket) -> None:
        """Name the server that answers beside this one."""
        self._beside = second, listening

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self._closing()
        super().handle_exit(sig, frame)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._begun()
        if self._beside is not None and not self.should_exit:
            second, listening = self._beside
            self._task = asyncio.create_task(second.serve([listening]))

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        if self._beside is not None and self._task is not None:
            self._beside[0].should_exit = True
            await self._task
        await super().shutdown(sockets)


class _Second(uvicorn.Server):
    """Leaves Ctrl-C to the first server, which ends this one too."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def serve(
    folder: Path,
    port: int,
    say: Callable[[str], None],
    browse: bool,
    lan: str | None = None,
    places: Sequence[Path] = (),
) -> None:
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
    lan : str, optional
        Let phones look on, by this address of this computer, or by one that is found when empty.
    places : sequence of Path, optional
        Folders beside what is plugged in from which cards may be unloaded.

    Raises
    ------
    BookError
        When the book can't be opened.
    UsageError
        When the port is taken, or there is no safe way to let a phone look on.
    """
    open_book(folder).close()  # what is wrong with it is better said before a page opens
    with ExitStack() as held:
        listening = held.enter_context(_bound(HERE, port))
        taken = int(listening.getsockname()[1])
        token = secrets.token_urlsafe(24)
        phones = None if lan is None else _phones(lan, held, say)
        app = make_app(folder, phones.pairing if phones else None, places)

        def begun() -> None:
            # the first picture need not wait for it
            threading.Thread(target=app.state.shelf.wake, daemon=True).start()

        def closing() -> None:
            app.state.closing.set()

        server = _Server(_config(Guard(app, taken, token)), begun, closing)
        if phones is not None:
            server.with_second(_Second(phones.config(app)), phones.listening)
        address = f"http://{HERE}:{taken}/enter?t={token}"
        say(f"The bench is open: {address}")
        if phones is None:
            say("It is for this computer only. Leave this window open; Ctrl-C closes the bench.")
        else:
            _say_of_phones(phones.pairing, say)
        if browse:
            _browse(address)
        held.enter_context(Hired(folder))
        with suppress(KeyboardInterrupt):
            server.run(sockets=[listening])


@dataclass(frozen=True, slots=True)
class _Phones:
    """What phones speak to."""

    pairing: Pairing
    certificate: Certificate
    listening: socket.socket

    def config(self, app: FastAPI) -> uvicorn.Config:
        """Say how they are answered; the other server begins and ends what both show."""
        config = _config(
            PhoneGuard(app, self.pairing),
            lifespan="off",
            ssl_certfile=self.certificate.chain,
            ssl_keyfile=self.certificate.key,
        )
        config.load()
        self.certificate.key.unlink()  # it is held in memory; however this ends, none is left
        return config


def _phones(lan: str, held: ExitStack, say: Callable[[str], None]) -> _Phones:
    address = address_in_network(lan)
    secret = Path(held.enter_context(TemporaryDirectory(prefix="haltere-")))
    certificate = make_certificate(address, secret)
    listening = held.enter_context(_bound(address, 0))
    port = int(listening.getsockname()[1])

    def joined() -> None:
        say("A phone has joined. It looks, and changes nothing.")

    return _Phones(Pairing(address, port, certificate.fingerprint, joined), certificate, listening)


def _config(guarded: Guard, lifespan: Literal["on", "off"] = "on", **more: Any) -> uvicorn.Config:
    return uvicorn.Config(
        guarded,
        access_log=False,
        log_level="error",
        server_header=False,
        proxy_headers=False,
        ws="none",
        lifespan=lifespan,
        timeout_graceful_shutdown=5,
        **more,
    )


def _say_of_phones(pairing: Pairing, say: Callable[[str], None]) -> None:
    link = pairing.invite()
    say("")
    say(f"A phone in this network may look on: {link}")
    if sys.stdout.isatty():
        with suppress(UnicodeEncodeError):
            say(for_terminal(link))
    say(
        f"Scan it within {PAIRING.valid_s / 60:.0f} minutes; it works once. New codes are on the "
        "page, under Phone."
    )
    say(
        "The phone will warn that it does not know the certificate, since this computer made it; "
        "go on only if the phone shows this fingerprint (SHA-256):"
    )
    say(f"  {pairing.fingerprint}")
    say(
        "Do this in a network of your own or on your phone's hotspot, not on an open one in a "
        "lodge, a train or a cafe: others there can reach this computer too."
    )
    say("Leave this window open; Ctrl-C closes the bench.")


def _bound(address: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((address, port))
        listening.listen(128)  # who opens the address at once waits instead of being turned away
    except (OSError, OverflowError) as error:
        listening.close()
        if address != HERE:
            raise UsageError(
                f"--lan {address}: is no address of this computer; leave it away, and it is found"
            ) from error
        raise UsageError(
            f"--port {port}: is taken or not allowed; leave --port away, and a free one is found"
        ) from error
    return listening


def _browse(address: str) -> None:
    import webbrowser

    timer = threading.Timer(0.8, webbrowser.open, (address,))
    timer.daemon = True
    timer.start()
