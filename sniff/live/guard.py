"""Who may see the page: by the address, by the name asked for, by origin and by a token.

The page shows a customer's set and steers a receiver. It listens on this computer only, unless the
user shares it; then every other device needs a link that works once and leaves a cookie.

Names other than the server's own are refused: a web page elsewhere may make its own name point to
127.0.0.1 and would then be of the same origin (DNS rebinding). A WebSocket knows no such rule at
all, hence its Origin is checked too (RFC 6455, 10.2).
"""

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

COOKIE = "sniff-page"
_LOCAL = ("127.0.0.1", "localhost", "[::1]")
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        b"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
    (b"cache-control", b"no-store"),
)


class Doors:
    """The tokens that are out, and the sessions that came of them.

    Parameters
    ----------
    port : int
    shared_host : str or None
        Address under which other devices reach this computer; None when it is not shared.
    """

    def __init__(self, *, port: int, shared_host: str | None) -> None:
        self.port = port
        self.shared_host = shared_host
        self._tokens: set[str] = set()
        self._sessions: set[str] = set()
        self.newest_link: str | None = None

    def invite(self) -> str | None:
        """A link that works once; None when the page is not shared. An older one is void."""
        if self.shared_host is None:
            return None
        token = secrets.token_urlsafe(24)
        self._tokens = {token}
        self.newest_link = f"http://{self.shared_host}:{self.port}/?key={token}"
        return self.newest_link

    def redeem(self, token: str) -> str | None:
        """A session for a token, which is then used up."""
        found = next((known for known in self._tokens if hmac.compare_digest(known, token)), None)
        if found is None:
            return None
        self._tokens.discard(found)
        session = secrets.token_urlsafe(24)
        self._sessions.add(session)
        return session

    def knows(self, session: str) -> bool:
        """Whether a session is one of ours."""
        return any(hmac.compare_digest(known, session) for known in self._sessions)

    def is_ours(self, host: str) -> bool:
        """Whether a Host header names this server."""
        names = [*_LOCAL, *([self.shared_host] if self.shared_host else [])]
        return host in {f"{name}:{self.port}" for name in names}


class Guard:
    """ASGI middleware that turns away what must not come in, and adds the strict headers."""

    def __init__(self, app: App, *, doors: Doors) -> None:
        self._app = app
        self._doors = doors

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check one connection, then pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = {
            key.decode("latin-1"): value.decode("latin-1") for key, value in scope["headers"]
        }
        host = headers.get("host", "")
        local = (scope.get("client") or ("",))[0] in ("127.0.0.1", "::1")
        if not self._doors.is_ours(host):
            await _refuse(scope, receive, send, 421, "this server goes by another name")
            return
        origin = headers.get("origin")
        must_tell = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if must_tell and origin != f"http://{host}":
            await _refuse(scope, receive, send, 403, "another page may not speak for this one")
            return
        scope.setdefault("state", {})["local"] = local
        if not local and not self._doors.knows(_session(headers.get("cookie", ""))):
            session = self._redeemed(scope)
            if session is None:
                await _refuse(scope, receive, send, 403, "this needs a link that was not used yet")
                return
            # Out of the address bar, and the cookie in.
            await _redirect(send, session)
            return
        await self._app(scope, receive, _with_headers(send))

    def _redeemed(self, scope: Scope) -> str | None:
        if scope["type"] != "http" or scope["path"] != "/" or scope["method"] != "GET":
            return None
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [])
        return self._doors.redeem(given[0]) if len(given) == 1 else None


def _session(cookies: str) -> str:
    try:
        found = SimpleCookie(cookies).get(COOKIE)
    except CookieError:
        return ""
    return "" if found is None else found.value


def _with_headers(send: Send) -> Send:
    async def added(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = [*message.get("headers", []), *_HEADERS]
        await send(message)

    return added


async def _redirect(send: Send, session: str) -> None:
    cookie = f"{COOKIE}={session}; Path=/; HttpOnly; SameSite=Strict"
    headers = [(b"location", b"/"), (b"set-cookie", cookie.encode()), *_HEADERS]
    await send({"type": "http.response.start", "status": 303, "headers": headers})
    await send({"type": "http.response.body", "body": b""})


async def _refuse(scope: Scope, receive: Receive, send: Send, status: int, why: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": why})
        return
    headers = [(b"content-type", b"text/plain; charset=utf-8"), *_HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": why.encode()})
