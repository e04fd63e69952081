"""How a phone is let in: a code that works once and not for long."""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass

from haltere.errors import UsageError


@dataclass(frozen=True, slots=True)
class PairingLimits:
    """Numbers of pairing, each with its reason.

    Attributes
    ----------
    valid_s : float
        How long a code works: time to find the phone and to click through its warning.
    tries : int
        Wrong codes before the right one is withdrawn as well: a person copies no code by hand, so
        whoever misses so often is guessing.
    """

    valid_s: float = 300.0
    tries: int = 5


LIMITS = PairingLimits()


class Pairing:
    """Who from the network may look, and until when somebody new may join.

    Parameters
    ----------
    address : str
        IP address that phones ask.
    port : int
        Its port.
    fingerprint : str
        Of the certificate.
    joined : callable
        Told when a phone was let in.
    clock : callable, optional
        Seconds that only grow.
    """

    def __init__(
        self,
        address: str,
        port: int,
        fingerprint: str,
        joined: Callable[[], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.host = f"{address}:{port}"
        self.port = port
        self.fingerprint = fingerprint
        self._joined, self._clock = joined, clock
        self._code: bytes | None = None
        self._until = 0.0
        self._missed = 0
        self._sessions: list[bytes] = []

    @property
    def phones(self) -> int:
        """How many have joined."""
        return len(self._sessions)

    @property
    def left_s(self) -> float:
        """Seconds for which the code still works; 0 when there is none."""
        return 0.0 if self._code is None else max(0.0, self._until - self._clock())

    @property
    def link(self) -> str | None:
        """Address that lets one phone in; None when the code was used, missed or is too old."""
        if self._code is None or not self.left_s:
            return None
        return f"https://{self.host}/enter?t={self._code.decode()}"

    def invite(self) -> str:
        """Make a new code; the one before works no more.

        Returns
        -------
        str
            Address that lets one phone in.
        """
        self._code = secrets.token_urlsafe(18).encode()
        self._until, self._missed = self._clock() + LIMITS.valid_s, 0
        link = self.link
        assert link is not None
        return link

    def accept(self, shown: bytes) -> bytes | None:
        """Let a phone in that shows the code, and let nobody else in by it.

        Parameters
        ----------
        shown : bytes
            What it showed.

        Returns
        -------
        bytes or None
            What it shows from now on; None when the code is wrong, used or too old.
        """
        if self._code is None or not self.left_s:
            return None
        if not hmac.compare_digest(shown, self._code):
            self._missed += 1
            if self._missed >= LIMITS.tries:
                self._code = None
            return None
        self._code = None
        session = secrets.token_urlsafe(32).encode()
        self._sessions.append(session)
        self._joined()
        return session

    def knows(self, session: bytes) -> bool:
        """Tell whether a phone has joined before.

        Parameters
        ----------
        session : bytes
            What it shows.
        """
        return any(hmac.compare_digest(session, one) for one in self._sessions)


def address_in_network(wish: str) -> str:
    """Find this computer's address in the network that it has joined.

    Parameters
    ----------
    wish : str
        The address, or empty to find one.

    Raises
    ------
    UsageError
        When there is none, or it is one that the whole internet may reach.
    """
    address = wish or _outward()
    try:
        parsed = ipaddress.IPv4Address(address)
    except ValueError:
        parsed = ipaddress.IPv4Address(0)
    if parsed.is_unspecified or parsed.is_multicast or parsed.is_reserved:
        raise UsageError(
            f"--lan {address}: is no address such as 192.168.1.20; leave it away, and it is found"
        )
    if not parsed.is_private:
        raise UsageError(
            f"--lan: {address} may be reached from the whole internet; join a network of your "
            "own, such as your phone's hotspot, and try again"
        )
    return address


def _outward() -> str:
    """Ask the system which address it would speak from; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))  # kept for examples: nobody has it (RFC 5737)
            return str(asking.getsockname()[0])
        except OSError:
            raise UsageError(
                "--lan: this computer has joined no network; join your phone's hotspot, and try "
                "again"
            ) from None
