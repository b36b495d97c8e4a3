"""The guard: who may ask the page, and how much at once. It stands before everything else, sockets of pages included.

Another web page that is open in the same browser can send requests here, and a name of its own can be made to lead to
this computer. So a request must be asked of a name that this computer has, must not come from another page (but for a
link that is followed), and must carry the token where other computers can ask.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Awaitable, Callable, Iterable
from html import escape
from http.cookies import CookieError, SimpleCookie
from typing import Final
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from planner.outputs.documents import error_document
from planner.page.settings import HEALTH, LARGEST_BODY, Settings

READING: Final = frozenset({"GET", "HEAD"})
API: Final = "/api"
"""Programs ask below this path; nothing there is a page but the reference."""

REFUSED_SOCKET: Final = 1008  # "policy violation", RFC 6455 section 7.4.1

PERMISSIONS: Final = ("camera", "display-capture", "geolocation", "microphone", "midi", "payment", "serial", "usb")
"""What no page here asks a browser for."""

HEADERS: Final = {
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": ", ".join(f"{name}=()" for name in PERMISSIONS),
}

OF_PAGES: Final = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' ws://{host}; worker-src 'self' blob:; "
    "object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
)
"""What a page may load and run, and from where: the browser's part of being offline."""

OF_THE_API: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


class Guard:
    """ASGI middleware; see the module. largest_body: of a request [bytes]."""

    def __init__(self, app: ASGIApp, settings: Settings, largest_body: int = LARGEST_BODY) -> None:
        self._app, self._settings, self._largest = app, settings, largest_body

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        asked = GuardedRequest(scope)
        refusal = self._refusal(asked)
        if refusal is not None:
            await _refuse(asked, refusal, receive, send)
        elif scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            policy = OF_THE_API if asked.of_api else OF_PAGES.format(host=asked.header("host"))
            await self._answer(asked, receive, _with_headers(policy, send))

    def _refusal(self, asked: GuardedRequest) -> Refusal | None:
        """Return why a request is refused, None if it is not."""
        if not self._asked_of_this_computer(asked):
            return Refusal(421, "WrongHost", "this computer is not called by that name: use the address it printed")
        if asked.from_elsewhere:
            return Refusal(403, "OtherOrigin", "the request comes from another page than this computer's")
        if any(letter < " " or letter == "\x7f" for letter in asked.path):
            return Refusal(400, "WrongPath", "the path has control characters")
        if self._settings.token is not None and asked.path != HEALTH and not self._carries_token(asked):
            return Refusal(
                401, "NoToken", "open the page with the whole address that `bendorder serve` printed, token included"
            )
        if asked.announced > self._largest:
            return self._too_large
        return None

    def _asked_of_this_computer(self, asked: GuardedRequest) -> bool:
        name, port = asked.host_and_port
        return name is not None and port == self._settings.port and self._settings.answers_to(name)

    def _carries_token(self, asked: GuardedRequest) -> bool:
        """Say whether a request carries the token: in its cookie, as a bearer's, or once in the URL of a page."""
        token = self._settings.token or ""
        offered = [asked.cookie(cookie_name(self._settings)), asked.bearer]
        if asked.may_set_cookie:
            offered.append(asked.token_in_url)
        return any(hmac.compare_digest(one.encode(), token.encode()) for one in offered if one is not None)

    async def _answer(self, asked: GuardedRequest, receive: Receive, send: Send) -> None:
        if self._settings.token is not None and asked.may_set_cookie and asked.token_in_url is not None:
            await _keep_token(asked, cookie_name(self._settings), self._settings.token, send)
            return
        counted = _Counted(self._largest, receive, send, lambda: _tell(asked, self._too_large, send))
        await counted.passed_to(self._app, asked.scope)

    @property
    def _too_large(self) -> Refusal:
        return Refusal(413, "TooLarge", f"a request may have {self._largest:,} bytes at most")


def cookie_name(settings: Settings) -> str:
    """Return the name of the cookie that carries the token: browsers keep the ports of a host in one jar."""
    return f"bendorder-{settings.port}"


class Refusal:
    """An answer in the place of the application's: HTTP status, kind and message."""

    def __init__(self, status: int, kind: str, message: str) -> None:
        self.status, self.kind, self.message = status, kind, message


class GuardedRequest:
    """What a request says of itself."""

    def __init__(self, scope: Scope) -> None:
        self.scope = scope
        self.path: str = scope["path"]
        self.method: str = scope.get("method", "GET")
        self.is_socket = scope["type"] == "websocket"
        self._headers: list[tuple[bytes, bytes]] = list(scope["headers"])

    def header(self, name: str) -> str | None:
        """Return a header's value; None where it is not there, or more than once and so not to be trusted."""
        found = [value for key, value in self._headers if key.lower() == name.encode()]
        return found[0].decode("latin-1").strip() if len(found) == 1 else None

    @property
    def of_api(self) -> bool:
        """Whether a program asks."""
        return self.path in (API, HEALTH) or self.path.startswith(f"{API}/")

    @property
    def host_and_port(self) -> tuple[str | None, int]:
        """The host's name and the port that the request is meant for."""
        return _host_and_port(self.header("host") or "")

    @property
    def from_elsewhere(self) -> bool:
        """Whether another page sends the request; a link to one of the pages may be followed from anywhere.

        Browsers say whence a request comes: with `Origin` where it changes something or opens a socket, with
        `Sec-Fetch-Site` always, but the latter only to a computer of their own or over https.
        """
        origin, site = self.header("origin"), self.header("sec-fetch-site")
        if origin is None and any(key.lower() == b"origin" for key, _ in self._headers):
            return True
        if self.is_socket and origin is None:
            return True
        if origin not in (None, "null"):
            parts = urlsplit(origin or "")
            if parts.scheme != "http" or parts.netloc.lower() != (self.header("host") or "").lower():
                return True
        elif origin == "null" and site != "same-origin":
            return True
        return site not in (None, "same-origin", "none") and not self._follows_link

    @property
    def _follows_link(self) -> bool:
        """Whether a link to a page is followed: it shows something, in a tab of its own, and changes nothing."""
        navigates = self.header("sec-fetch-mode") == "navigate" and self.header("sec-fetch-dest") == "document"
        return navigates and self.method in READING and not self.is_socket and not self.path.startswith(f"{API}/")

    @property
    def announced(self) -> int:
        """How many bytes the request says it has; 0 where it does not say."""
        length = self.header("content-length") or ""
        return int(length) if length.isascii() and length.isdigit() else 0

    @property
    def bearer(self) -> str | None:
        """The token in the header that programs use."""
        kind, _, token = (self.header("authorization") or "").partition(" ")
        return token.strip() if kind.lower() == "bearer" else None

    def cookie(self, name: str) -> str | None:
        """Return a cookie's value."""
        try:
            found = SimpleCookie(self.header("cookie") or "").get(name)
        except CookieError:
            return None
        return None if found is None else found.value

    @property
    def may_set_cookie(self) -> bool:
        """Whether the token may stand in the URL: where a page is opened."""
        return self.method == "GET" and not self.is_socket and not self.path.startswith(f"{API}/")

    @property
    def query(self) -> list[tuple[str, str]]:
        """What stands behind the ? of the URL."""
        return parse_qsl(self.scope["query_string"].decode("latin-1"), keep_blank_values=True)

    @property
    def token_in_url(self) -> str | None:
        """The token in the URL."""
        return next((value for key, value in self.query if key == "token"), None)


def _host_and_port(host: str) -> tuple[str | None, int]:
    """Return the parts of a Host header, (None, 0) if it is none."""
    if not host or any(letter in host for letter in "/@?#\\ ,"):
        return None, 0
    try:
        parts = urlsplit(f"//{host}")
        return parts.hostname, 80 if parts.port is None else parts.port
    except ValueError:
        return None, 0


# ------------------------------------------------------------------------------------------------ its answers


async def _refuse(asked: GuardedRequest, refusal: Refusal, receive: Receive, send: Send) -> None:
    if not asked.is_socket:
        await _tell(asked, refusal, _with_headers(OF_THE_API, send))
        return
    await receive()  # that it wants to connect
    await send({"type": "websocket.close", "code": REFUSED_SOCKET, "reason": refusal.message})


async def _tell(asked: GuardedRequest, refusal: Refusal, send: Send) -> None:
    """Answer with a refusal: as a document to programs, as a line to people."""
    if asked.of_api:
        document = error_document({"kind": refusal.kind, "message": refusal.message})
        kind, text = "application/json", json.dumps(document, indent=1) + "\n"
    else:
        kind, text = "text/plain; charset=utf-8", f"{refusal.message}\n"
    extra = {"www-authenticate": "Bearer"} if refusal.status == 401 else {}
    await _send_whole(send, refusal.status, kind, text, {"connection": "close", **extra})


async def _keep_token(asked: GuardedRequest, name: str, token: str, send: Send) -> None:
    """Have the browser keep the token in a cookie, and go on to the same page without it in the address.

    A browser that followed a link from elsewhere would not send that cookie after a redirect, so the page goes on by
    itself then.
    """
    rest = urlencode([(key, value) for key, value in asked.query if key != "token"])
    there = "/" + asked.scope["path"].lstrip("/\\") + (f"?{rest}" if rest else "")
    extra = {"set-cookie": f"{name}={token}; Path=/; HttpOnly; SameSite=Strict"}
    if asked.header("sec-fetch-site") in (None, "same-origin", "none"):
        await _send_whole(send, 303, "text/plain; charset=utf-8", "", {"location": _quoted(there), **extra})
        return
    refresh = f'<meta http-equiv="refresh" content="0; url={escape(_quoted(there))}">'
    await _send_whole(send, 200, "text/html; charset=utf-8", f"<!doctype html><title>bendorder</title>{refresh}", extra)


def _quoted(path: str) -> str:
    """Return a path so that it can stand in a header or an attribute."""
    return quote(path, safe="/?&=%+~:@,;-._")


async def _send_whole(send: Send, status: int, kind: str, text: str, extra: dict[str, str]) -> None:
    body = text.encode()
    headers = {"content-type": kind, "content-length": str(len(body)), "cache-control": "no-store", **extra}
    await send({"type": "http.response.start", "status": status, "headers": _encoded(headers.items())})
    await send({"type": "http.response.body", "body": body})


def _encoded(headers: Iterable[tuple[str, str]]) -> list[tuple[bytes, bytes]]:
    return [(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers]


def _with_headers(policy: str, send: Send) -> Send:
    """Return a `send` that gives every answer the headers that tell browsers what it may do."""
    ours = _encoded([("content-security-policy", policy), *HEADERS.items()])
    names = {name for name, _ in ours}

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [(name, value) for name, value in message.get("headers", ()) if name.lower() not in names]
            message = {**message, "headers": [*kept, *ours]}
        await send(message)

    return sending


class _Counted:
    """A request whose body is counted while it comes in; beyond the most it is answered here and comes to its end."""

    def __init__(self, most: int, receive: Receive, send: Send, answer: Callable[[], Awaitable[None]]) -> None:
        self._most, self._receive, self._send, self._answer = most, receive, send, answer
        self._had = 0
        self._begun = self._answered = False

    async def passed_to(self, app: ASGIApp, scope: Scope) -> None:
        """Pass the request on."""
        try:
            await app(scope, self._receiving, self._sending)
        except Exception:
            if not self._answered:
                raise

    async def _receiving(self) -> Message:
        if self._answered:
            return {"type": "http.disconnect"}
        message = await self._receive()
        self._had += len(message.get("body", b""))
        if self._had <= self._most:
            return message
        self._answered = True
        if not self._begun:
            await self._answer()
        return {"type": "http.disconnect"}

    async def _sending(self, message: Message) -> None:
        if self._answered:
            return
        self._begun = True
        await self._send(message)
