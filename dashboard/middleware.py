"""What stands between the network and the pages: the name of this computer, the key of a link, headers for browsers."""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.cookies
import re
import urllib.parse
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from starlette.responses import PlainTextResponse, RedirectResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "bench_key"

# The framework writes its styles into the page and fetches nothing from elsewhere.
POLICY = {
    "default-src": "'self'",
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "worker-src": "'self' blob:",
    "object-src": "'none'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}


def security_headers(page: str) -> dict[str, str]:
    """Give what tells browsers what a page may do; of scripts written into the framework's `page`, only those run."""
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    hashes = [base64.b64encode(hashlib.sha256(each.encode()).digest()).decode() for each in scripts]
    policy = POLICY | {"script-src": " ".join(["'self'", *(f"'sha256-{each}'" for each in hashes)])}
    return {
        "content-security-policy": "; ".join(f"{what} {where}" for what, where in policy.items()),
        "x-frame-options": "DENY",
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
    }


class Guard:
    """Turns away requests for a name that is not this computer's; adds headers to what is answered.

    A page elsewhere that points its own name at this computer gets nothing; none may show these pages in a frame.
    """

    def __init__(self, app: ASGIApp, hosts: Sequence[str], headers: Mapping[str, str]) -> None:
        self.app, self.hosts, self.headers = app, frozenset(host.lower() for host in hosts), headers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on and add the headers to its answer, or turn it away."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        named = next((text.decode("latin-1") for name, text in scope["headers"] if name == b"host"), "")

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                kept = [
                    each
                    for each in message["headers"]
                    if each[0].decode("latin-1").lower() not in self.headers
                ]
                added = [(name.encode(), text.encode()) for name, text in self.headers.items()]
                message = {**message, "headers": [*kept, *added]}
            await send(message)

        if re.sub(r":\d+$", "", named).lower() in self.hosts:
            await self.app(scope, receive, send_with_headers)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            words = "This name does not stand for the computer that runs the program."
            await PlainTextResponse(words, status_code=403)(scope, receive, send_with_headers)


class Gate:
    """Lets in who brings the key, in the link or in the cookie that the link sets."""

    def __init__(self, app: ASGIApp, key: str) -> None:
        self.app, self.key = app, key

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, turn a link into a cookie, or turn it away."""
        if scope["type"] not in ("http", "websocket") or scope.get("path") == "/healthy":
            await self.app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): text.decode("latin-1") for name, text in scope["headers"]}
        jar = http.cookies.SimpleCookie()
        try:
            jar.load(headers.get("cookie", ""))
        except http.cookies.CookieError:
            jar.clear()
        if COOKIE in jar and self._right(jar[COOKIE].value):
            await self.app(scope, receive, send)
            return
        query = urllib.parse.parse_qs(scope.get("query_string", b"").decode("latin-1"))
        if scope["type"] == "http" and any(self._right(text) for text in query.get("key", [])):
            answer = RedirectResponse("/", status_code=303)
            answer.set_cookie(COOKIE, self.key, httponly=True, samesite="strict")
            await answer(scope, receive, send)
            return
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        words = "This needs the link with the key, which the computer that runs it has printed."
        await PlainTextResponse(words, status_code=401)(scope, receive, send)

    def _right(self, text: str) -> bool:
        return hmac.compare_digest(text.encode(), self.key.encode())
