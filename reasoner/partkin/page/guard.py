"""What stands before every request: who asks, from where, how much, and what the answer may load."""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from starlette.exceptions import HTTPException

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

FORM_BYTES = 64_000
UPLOAD_BYTES = 60_000_000
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# `same-origin`, not `no-referrer`: with that a browser sends `Origin: null` with forms, and nothing could be told.
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


class PageGuard:
    """Lets through what this machine's own browser asks with the key of this start, and nothing else.

    A name that points at the loopback address, another page in the same browser and another program's page on
    another port are all refused: by the Host header, by Origin and Sec-Fetch-Site, and by the cookie.
    """

    def __init__(self, app: App, key: str, port: int) -> None:
        self.app = app
        self.key = key
        self.port = port
        self.cookie = f"partkin-{port}"
        self.hosts = (f"127.0.0.1:{port}", f"localhost:{port}")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            return await _plain(send, *refusal)
        if scope["path"] == "/enter":
            return await self._enter(scope, send)
        limit = UPLOAD_BYTES if scope["path"] == "/photos" else FORM_BYTES
        length = (headers.get("content-length") or ["0"])[0]
        if not length.isdigit() or int(length) > limit:
            return await _plain(send, 413, f"More than {limit} bytes are not taken.")
        ours = {name for name, _ in HEADERS}

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                theirs = [(name, value) for name, value in message["headers"] if name.lower() not in ours]
                message = {**message, "headers": [*theirs, *HEADERS]}
            await send(message)

        await self.app(scope, _counted(receive, limit), sent)

    def _refusal(self, scope: Scope, headers: dict[str, list[str]]) -> tuple[int, str] | None:
        """Status and reason, where a request is not let through."""
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return 421, "This page is asked for under the address that partkin printed, and no other name."
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "Only GET, HEAD and POST are answered."
        entering = scope["path"] == "/enter"
        site = headers.get("sec-fetch-site", ["none"])
        if site not in (["none"], ["same-origin"]) and not entering:
            return 403, "Another page may not ask this one for anything."
        if scope["method"] == "POST" and headers.get("origin", []) != [f"http://{hosts[0].lower()}"]:
            return 403, "Only this page's own forms may change anything."
        if not entering and not self._has_cookie(headers):
            return 403, "Open the address that partkin printed when it started; it holds the key of this start."
        return None

    def _has_cookie(self, headers: dict[str, list[str]]) -> bool:
        for line in headers.get("cookie", []):
            try:
                found = SimpleCookie(line).get(self.cookie)
            except CookieError:
                continue
            if found is not None and hmac.compare_digest(found.value.encode(), self.key.encode()):
                return True
        return False

    async def _enter(self, scope: Scope, send: Send) -> None:
        """Change the key of the address for a cookie, so that it does not stay in the address line."""
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        if scope["method"] != "GET" or not hmac.compare_digest(given.encode(), self.key.encode()):
            why = "That is not the key of this start: partkin printed the address when it started."
            return await _plain(send, 403, why)
        cookie = f"{self.cookie}={self.key}; Path=/; HttpOnly; SameSite=Strict"
        headers = [(b"location", b"/"), (b"set-cookie", cookie.encode()), (b"content-length", b"0"), *HEADERS]
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})


def _counted(receive: Receive, limit: int) -> Receive:
    """Count what is received, whatever its header said."""
    had = 0

    async def counting() -> Message:
        nonlocal had
        message = await receive()
        had += len(message.get("body", b"") or b"")
        if had > limit:
            raise HTTPException(413, f"More than {limit} bytes are not taken.")
        return message

    return counting


async def _plain(send: Send, status: int, text: str) -> None:
    body = (text + "\n").encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"), *HEADERS,
    ]  # fmt: skip
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
