"""Who may ask the bench for anything: the browser that was given the key, and nobody else."""

from __future__ import annotations

import hmac
import json
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.pairing import Pairing

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
}
# a redirect would lose the strict cookie where the link was opened from elsewhere
ENTERED = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>haltere</title>'
    '<link rel="icon" href="/icon.svg"><meta http-equiv="refresh" content="0;url=/"></head>'
    '<body><p><a href="/">Open the bench</a></p></body></html>'
)
OUTSIDE = "This page is locked: open the link that haltere printed when it was started."
NOT_JOINED = (
    "This code was used or is too old: show a new one at the computer, under Phone, and scan that."
)
ONLY_LOOKS = "A phone only looks: decide, merge and undo at the computer."
PHONE = "haltere.phone"
"""In a request's scope: whether it came from a phone."""


class Guard:
    """Stands around the whole app and lets through what its own page asks for.

    Another page, on another site or another port of this computer, may make a browser send
    requests here; the host, the origin and the key are therefore looked at each time.

    Parameters
    ----------
    app : callable
        What is guarded.
    port : int
        Port that the bench listens on.
    token : str
        Key in the first address; whoever shows it gets a cookie, or may send it as a bearer.
    """

    phone = False
    locked = OUTSIDE
    scheme = b"http://"
    cookie_traits = "Path=/; HttpOnly; SameSite=Strict"

    def __init__(self, app: App, port: int, token: str) -> None:
        self._app = app
        self._hosts = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}
        self._cookie = f"haltere_{port}"
        self._token = token.encode()
        self._session = secrets.token_urlsafe(32).encode()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it in a sentence."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # nothing here speaks by websocket
            await send({"type": "websocket.close", "code": 1008})
            return
        refused = self._refused(scope)
        if refused is not None:
            await _say(send, *refused)
            return
        if scope["path"] == "/enter":
            await self._enter(scope, send)
            return
        await self._app({**scope, PHONE: self.phone}, receive, _with_headers(send))

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers = _headers(scope)
        hosts = headers.get(b"host", [])
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return 421, "This computer's bench answers under its own address only."
        if scope["path"] == "/enter":
            return None
        bearer = self._bears_token(headers)
        if not bearer and not self._has_cookie(headers):
            return 401, self.locked
        length = headers.get(b"content-length", [b"0"])[0]
        if not length.isdigit() or int(length) > LIMITS.body_bytes:
            return 413, "That is too much at once; decide fewer frames."
        asked = scope["method"] in ("GET", "HEAD")
        site = headers.get(b"sec-fetch-site", [b"none"])[0]
        if site not in (b"same-origin", b"none"):
            walked = headers.get(b"sec-fetch-mode", [b""])[0] == b"navigate"
            if not (asked and walked and not scope["path"].startswith("/api")):
                return 403, "Another page asked for this; nothing was done."
        if not asked and not bearer:
            origins = headers.get(b"origin", [])
            if origins != [self.scheme + hosts[0]]:
                return 403, "Another page asked for this; nothing was done."
        return (403, ONLY_LOOKS) if self.phone and not asked else None

    def _bears_token(self, headers: dict[bytes, list[bytes]]) -> bool:
        said = headers.get(b"authorization", [b""])[0]
        return hmac.compare_digest(said, b"Bearer " + self._token)

    def _has_cookie(self, headers: dict[bytes, list[bytes]]) -> bool:
        jar = SimpleCookie()
        try:
            jar.load(b"; ".join(headers.get(b"cookie", [])).decode("latin-1"))
        except CookieError:
            return False
        morsel = jar.get(self._cookie)
        shown = b"" if morsel is None else morsel.value.encode("utf-8", "replace")
        return self._knows(shown)

    def _knows(self, session: bytes) -> bool:
        return hmac.compare_digest(session, self._session)

    def _accept(self, shown: bytes) -> bytes | None:
        return self._session if hmac.compare_digest(shown, self._token) else None

    async def _enter(self, scope: Scope, send: Send) -> None:
        shown = parse_qs(scope["query_string"].decode("latin-1")).get("t", [""])
        session = None
        if scope["method"] == "GET":
            session = self._accept(shown[0].encode("utf-8", "replace"))
        if session is None:
            await _say(send, 401, self.locked)
            return
        cookie = f"{self._cookie}={session.decode()}; {self.cookie_traits}"
        await _answer(
            send, 200, ENTERED.encode(), "text/html; charset=utf-8", {"set-cookie": cookie}
        )


class PhoneGuard(Guard):
    """The same for phones in one's own network: let in by a code, over TLS, to look only.

    Parameters
    ----------
    app : callable
        What is guarded.
    pairing : Pairing
        Who has joined.
    """

    phone = True
    locked = NOT_JOINED
    scheme = b"https://"
    cookie_traits = f"{Guard.cookie_traits}; Secure"

    def __init__(self, app: App, pairing: Pairing) -> None:
        super().__init__(app, pairing.port, "")
        self._hosts = {pairing.host.encode()}
        self._cookie = f"haltere_phone_{pairing.port}"
        self._pairing = pairing

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        if scope["scheme"] != "https":
            return 403, "A phone is spoken to in secret only: open the https address."
        return super()._refused(scope)

    def _bears_token(self, headers: dict[bytes, list[bytes]]) -> bool:
        return False

    def _knows(self, session: bytes) -> bool:
        return self._pairing.knows(session)

    def _accept(self, shown: bytes) -> bytes | None:
        return self._pairing.accept(shown)


def _headers(scope: Scope) -> dict[bytes, list[bytes]]:
    found: dict[bytes, list[bytes]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.lower(), []).append(value)
    return found


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", []))
            known = {name.lower() for name, _ in headers}
            more = {**HEADERS, "cache-control": "no-store"}
            headers += [
                (name.encode(), value.encode())
                for name, value in more.items()
                if name.encode() not in known
            ]
            message = {**message, "headers": headers}
        await send(message)

    return sending


async def _say(send: Send, status: int, sentence: str) -> None:
    await _answer(send, status, json.dumps({"error": sentence}).encode(), "application/json", {})


async def _answer(send: Send, status: int, body: bytes, kind: str, more: dict[str, str]) -> None:
    headers = {
        "content-type": kind,
        "content-length": str(len(body)),
        "cache-control": "no-store",
        **HEADERS,
        **more,
    }
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        }
    )
    await send({"type": "http.response.body", "body": body})
