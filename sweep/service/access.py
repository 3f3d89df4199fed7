"""Who may ask: the token and its cookie, the names this host goes by, requests that come from other sites, large bodies."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import time
from collections.abc import Collection
from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sweep.service.problems import ProblemResponse

COOKIE = "wheelfront_session"
#: s that a login holds
LOGIN_SECONDS = 30 * 86400
#: s for a body to come in
BODY_SECONDS = 30.0
#: reached without a token
OPEN = ("/login", "/api/health")
READING = ("GET", "HEAD", "OPTIONS")
#: what a server on loopback goes by: any other name may be one that a site has pointed here
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")
HEADERS = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "SAMEORIGIN",
    "referrer-policy": "same-origin",
}


class Token:
    """The secret that whoever asks must know; compared in a time that does not tell how much of it was right."""

    def __init__(self, token: str) -> None:
        self._key = token.encode()

    def is_token(self, given: str) -> bool:
        return hmac.compare_digest(_digest(given.encode("utf-8", "replace")), _digest(self._key))

    def session(self, now: float | None = None) -> str:
        """A cookie's value: when it was given, and a proof that it was. It does not tell the token."""
        began = str(int(time.time() if now is None else now))
        return f"{began}.{self._proof(began)}"

    def is_session(self, given: str, now: float | None = None) -> bool:
        began, _, proof = given.partition(".")
        if not hmac.compare_digest(proof.encode("utf-8", "replace"), self._proof(began).encode()):
            return False
        return abs((time.time() if now is None else now) - int(began)) <= LOGIN_SECONDS

    def secret(self) -> str:
        """Another secret that follows from it, for the page's own storage."""
        return hmac.new(self._key, b"page storage", hashlib.sha256).hexdigest()

    def _proof(self, began: str) -> str:
        return hmac.new(self._key, b"session " + began.encode("utf-8", "replace"), hashlib.sha256).hexdigest()


def _digest(content: bytes) -> bytes:
    """As long for every content, so that not even the length of the right one shows."""
    return hashlib.sha256(content).digest()


class Guard:
    """Stands before everything, the page and its websocket too."""

    def __init__(self, app: ASGIApp, token: Token | None, hosts: Collection[str], body_bytes: int) -> None:
        self.app, self.token, self.hosts, self.body_bytes = app, token, hosts, body_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if scope["path"].startswith("/api"):
                    headers.setdefault("cache-control", "no-store")
            await send(message)

        refused = self._refused(scope)
        if refused is not None and scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        if refused is None and scope["type"] == "http":
            read = await self._body(scope, receive)
            if isinstance(read, Response):
                refused = read
            else:
                receive = read
        await (refused or self.app)(scope, receive, sending if scope["type"] == "http" else send)

    def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if self.token is None and _name(headers.get("host", "")) not in self.hosts:
            return ProblemResponse(421, "this server answers to localhost only; start it with a token for other names")
        if (scope["type"] == "websocket" or scope["method"] not in READING) and _foreign(headers):
            return ProblemResponse(403, "the request comes from another site; open the page at the server's own address")
        if self.token is None or scope["path"] in OPEN or self._known(headers):
            return None
        if scope["type"] == "http" and scope["method"] == "GET" and not scope["path"].startswith("/api"):
            return RedirectResponse(f"/login?next={quote(scope['path'])}", 303)
        detail = "the token is missing or wrong: send 'Authorization: Bearer TOKEN', or log in at /login"
        return ProblemResponse(401, detail, headers={"www-authenticate": "Bearer"})

    def _known(self, headers: Headers) -> bool:
        assert self.token is not None
        kind, _, given = headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer" and self.token.is_token(given.strip()):
            return True
        return self.token.is_session(cookie_parser(headers.get("cookie", "")).get(COOKIE, ""))

    async def _body(self, scope: Scope, receive: Receive) -> Receive | Response:
        """The body read whole up to the limit, to be handed on; a refusal where it is larger or does not come."""
        headers = Headers(scope=scope)
        length = headers.get("content-length", "")
        if not length and "transfer-encoding" not in headers:
            return receive
        too_large = ProblemResponse(
            413, f"a body must have at most {self.body_bytes} bytes here", headers={"connection": "close"}
        )
        if length.isascii() and length.isdigit() and int(length[:18]) > self.body_bytes:
            return too_large
        parts: list[bytes] = []
        size = 0
        try:
            async with asyncio.timeout(BODY_SECONDS):
                while True:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        return _replaying(message, receive)
                    parts.append(message.get("body", b""))
                    size += len(parts[-1])
                    if size > self.body_bytes:
                        return too_large
                    if not message.get("more_body", False):
                        break
        except TimeoutError:
            detail = f"the body must come within {BODY_SECONDS:.0f} s"
            return ProblemResponse(408, detail, headers={"connection": "close"})
        return _replaying({"type": "http.request", "body": b"".join(parts), "more_body": False}, receive)


def _replaying(first: Message, receive: Receive) -> Receive:
    waiting = [first]

    async def replay() -> Message:
        return waiting.pop() if waiting else await receive()

    return replay


def _name(host: str) -> str:
    """The host's name of a Host header, without its port."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


def _foreign(headers: Headers) -> bool:
    """Whether a browser says that another site made the request. Programs that are no browsers say nothing."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = headers.get("origin")
    if origin is None:
        return False
    try:
        return urlsplit(origin).netloc.lower() != headers.get("host", "").lower()
    except ValueError:
        return True


def local_path(text: str) -> str:
    """Where to go after a login: a path of this server, else the page itself.

    >>> local_path("/runs/a"), local_path("//elsewhere"), local_path("https://elsewhere"), local_path("/\\\\elsewhere")
    ('/runs/a', '/', '/', '/')
    """
    parts = text.replace("\\", "/")
    return text if parts.startswith("/") and not parts.startswith("//") and parts.isprintable() else "/"
