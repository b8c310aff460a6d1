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
    opens everything, for a browser on this machine; reader: opens what can be looked at and
    listened to, for others in the house, "" for nobody."""

    def __init__(self, app: ASGIApp, *, key: str, hosts: tuple[str, ...], reader: str = "") -> None:
        self._app, self._key, self._hosts, self._reader = app, key, hosts, reader
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
        scope.setdefault("state", {})["reader"] = not self._decides(Headers(scope=scope), scope)
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
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin") and not _goes(
            headers, scope
        ):
            return PlainTextResponse("This page answers nobody else's.\n", 403)
        if scope["path"] == "/open" and scope["method"] == "GET":
            return self._opened(scope)
        if self._decides(headers, scope):
            return self._bad_post(headers) if scope["method"] == "POST" else None
        if not self._reader or not compare_digest(self._shown(headers), self._reader.encode()):
            return PlainTextResponse(_SHUT, 403)
        if scope["method"] == "POST":
            return PlainTextResponse("This page is to look and listen.\n", 403)
        return None

    def _opened(self, scope: Scope) -> Response:
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        keys = [key for key in (self._key, self._reader) if key]
        if not any(compare_digest(given.encode(), key.encode()) for key in keys):
            return PlainTextResponse(_SHUT, 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self._cookie, given, httponly=True, samesite="strict", path="/")
        return answer

    def _decides(self, headers: Headers, scope: Scope) -> bool:
        """True for a browser on this machine with the key that opens everything."""
        client = scope.get("client") or ("", 0)
        return client[0] == "127.0.0.1" and compare_digest(self._shown(headers), self._key.encode())

    def _shown(self, headers: Headers) -> bytes:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return b""
        return found.value.encode() if found is not None else b""

    def _bad_post(self, headers: Headers) -> Response | None:
        if headers.get("origin") not in [f"http://{host}" for host in self._hosts]:
            return PlainTextResponse("This does not come from our page.\n", 403)
        if headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return PlainTextResponse("Decisions come as JSON.\n", 415)
        size = headers.get("content-length", "")
        if not (size.isascii() and size.isdigit()) or int(size[:12]) > BODY:
            return PlainTextResponse("That is too much for a decision.\n", 413)
        return None


def _goes(headers: Headers, scope: Scope) -> bool:
    """True where a page of this machine (the list of a book) has the browser go to one of ours: it
    shows it and can read nothing of it."""
    site, mode = headers.get("sec-fetch-site"), headers.get("sec-fetch-mode")
    return scope["method"] == "GET" and site == "same-site" and mode == "navigate"


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
