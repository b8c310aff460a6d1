"""Who may come in: only a browser on this machine that was handed the key, and only from our page.

The key is in the opening address and becomes a cookie. Host and Origin are checked, so that a page
of somebody else's in the same browser can neither read nor decide (the attack by rebinding a name:
OWASP, Cross-Site Request Forgery and DNS rebinding). Sizes are limited before anything is read.
"""

from __future__ import annotations

import secrets
from hmac import compare_digest
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY = 200_000  # bytes of a request: a decision has some hundred; judgement
ADDRESS = 2_000  # characters of an address; judgement
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
        "img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}
_SHUT = (
    "This page needs its key. Open the address that `sectionprep review` printed, "
    "or start it again.\n"
)


def new_key() -> str:
    """A key that nobody can guess."""
    return secrets.token_urlsafe(32)


class Door:
    """Stands before the pages. hosts: what the browser may call us, as in "127.0.0.1:8000"; key:
    opens everything."""

    def __init__(self, app: ASGIApp, *, key: str, hosts: tuple[str, ...]) -> None:
        self._app, self._key, self._hosts = app, key, hosts
        self._cookie = f"sectionprep-review-{hosts[0].rpartition(':')[2]}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        refused = self._refused(scope)
        if refused is not None:
            await refused(scope, receive, _guarded(send))
            return
        await self._app(scope, _limited(receive), _guarded(send))

    def _refused(self, scope: Scope) -> Response | None:
        """The answer to whoever may not come in, and to whoever shows the key for the first
        time."""
        headers = Headers(scope=scope)
        if headers.getlist("host") not in [[host] for host in self._hosts]:
            return PlainTextResponse("This is not the host you think it is.\n", 421)
        if len(scope["raw_path"]) + len(scope["query_string"]) > ADDRESS:
            return PlainTextResponse("The address is too long.\n", 414)
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return PlainTextResponse("Only GET and POST are understood.\n", 405)
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return PlainTextResponse("This page answers nobody else's.\n", 403)
        if scope["path"] == "/open" and scope["method"] == "GET":
            return self._opened(scope)
        if not self._holds_key(headers):
            return PlainTextResponse(_SHUT, 403)
        return self._bad_post(headers) if scope["method"] == "POST" else None

    def _opened(self, scope: Scope) -> Response:
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        if not compare_digest(given.encode(), self._key.encode()):
            return PlainTextResponse(_SHUT, 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self._cookie, self._key, httponly=True, samesite="strict", path="/")
        return answer

    def _holds_key(self, headers: Headers) -> bool:
        try:
            cookies = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            return False
        shown = cookies.get(self._cookie)
        return shown is not None and compare_digest(shown.value.encode(), self._key.encode())

    def _bad_post(self, headers: Headers) -> Response | None:
        if headers.get("origin") not in [f"http://{host}" for host in self._hosts]:
            return PlainTextResponse("This does not come from our page.\n", 403)
        if headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return PlainTextResponse("Decisions come as JSON.\n", 415)
        size = headers.get("content-length", "")
        if not (size.isascii() and size.isdigit()) or int(size[:12]) > BODY:
            return PlainTextResponse("That is too much for a decision.\n", 413)
        return None


def _guarded(send: Send) -> Send:
    async def to(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = message.setdefault("headers", [])
            has = {name.lower() for name, _ in headers}
            more = {**_HEADERS, "Cache-Control": "no-store"}
            headers += [
                (name.lower().encode(), value.encode())
                for name, value in more.items()
                if name.lower().encode() not in has
            ]
        await send(message)

    return to


def _limited(receive: Receive) -> Receive:
    """No more than was announced is read: a body that goes on is an end of the talk."""
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return message if taken <= BODY else {"type": "http.disconnect"}

    return limited
