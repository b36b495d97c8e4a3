"""The guard: every refusal by a request that must be refused, and beside it the one that must not be.

What browsers send is stated in RFC 6454 (Origin), the Fetch standard (the Origin header of a request without a
referrer), W3C Fetch Metadata (Sec-Fetch-*) and RFC 6265bis (SameSite); http://127.0.0.1 counts as trustworthy there.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest

from planner.page.guard import Guard, cookie_name
from planner.page.settings import Settings

TOKEN = "towpath-and-canal-42"
ALONE = Settings(port=8765)
SHOP = Settings(host="0.0.0.0", port=8765, token=TOKEN)
HERE = "http://127.0.0.1:8765"
THERE = "http://192.168.7.20:8765"
LINK = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}


class Behind:
    """The application behind the guard: answers how many bytes came, and keeps what reached it."""

    def __init__(self) -> None:
        self.reached: list[str] = []

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.reached.append(f"{scope['type']} {scope.get('method', '')} {scope['path']}")
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.accept"})
            return
        size, more = 0, True
        while more:
            message = await receive()
            if message["type"] == "http.disconnect":
                raise RuntimeError("the client has gone")
            size += len(message.get("body", b""))
            more = message.get("more_body", False)
        headers = [(b"x-frame-options", b"SAMEORIGIN"), (b"x-kept", b"yes")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": str(size).encode()})


def ask(
    settings: Settings,
    url: str,
    method: str = "GET",
    *,
    headers: dict[str, str] | list[tuple[str, str]] | None = None,
    content: Any = None,
    behind: Behind | None = None,
    largest_body: int = 1_000_000,
) -> httpx.Response:
    """Send one request to an application behind the guard."""

    async def asking() -> httpx.Response:
        app = Guard(behind or Behind(), settings, largest_body)
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app)) as client:
            return await client.request(method, url, headers=headers, content=content)

    return asyncio.run(asking())


def socket_opened(settings: Settings, **headers: str) -> bool:
    """Whether a page's socket is let through."""
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    given = {"host": "127.0.0.1:8765", **headers}
    scope = {
        "type": "websocket", "path": "/_nicegui_ws/socket.io/", "query_string": b"client_id=1",
        "headers": [(name.replace("_", "-").encode(), value.encode()) for name, value in given.items()],
    }  # fmt: skip
    asyncio.run(Guard(Behind(), settings)(scope, receive, send))
    assert len(sent) == 1
    return bool(sent[0]["type"] == "websocket.accept")


# ---------------------------------------------------------------------------------- the name it is asked by


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "LOCALHOST:8765", "[::1]:8765"])
def test_this_computer_is_asked_by_its_own_names(host: str) -> None:
    assert ask(ALONE, f"{HERE}/", headers={"host": host}).status_code == 200


REBOUND = [
    "evil.example:8765", "evil.example", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:9999", "localhost.evil.example:8765",
    "127.0.0.1.evil.example:8765", "evil@127.0.0.1:8765", "127.0.0.1:8765@evil.example", "127.0.0.1:8765/x", "", ":8765",
    "127.0.0.1:8765x", "192.168.7.20:8765", "0.0.0.0:8765", "127.0.0.1:8765, evil.example", "[::1", "127.0.0.1:-8765",
]  # fmt: skip


@pytest.mark.parametrize("host", REBOUND)
@pytest.mark.parametrize("path", ["/", "/api/1/machines"])
def test_a_name_that_was_made_to_lead_here_is_refused(host: str, path: str) -> None:
    behind = Behind()
    answer = ask(ALONE, f"{HERE}{path}", headers={"host": host}, behind=behind)
    assert answer.status_code == 421
    assert behind.reached == []


def test_two_host_headers_are_refused() -> None:
    two = [("host", "127.0.0.1:8765"), ("host", "evil.example:8765")]
    assert ask(ALONE, f"{HERE}/", headers=two).status_code == 421


@pytest.mark.parametrize("host", ["192.168.7.20:8765", "[fd00::7]:8765", "127.0.0.1:8765"])
def test_where_other_computers_can_ask_any_address_will_do_but_no_other_name(host: str) -> None:
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert ask(SHOP, f"{THERE}/", headers={"host": host, **bearer}).status_code == 200
    assert ask(SHOP, f"{THERE}/", headers={"host": "evil.example:8765", **bearer}).status_code == 421


def test_the_name_it_listens_on_and_the_computers_own_are_its_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Bender.shop.lan")
    named = Settings(host="shop-pc", port=8765, token=TOKEN)
    for name in ("shop-pc", "bender", "bender.local", "bender.shop.lan"):
        headers = {"host": f"{name}:8765", "authorization": f"Bearer {TOKEN}"}
        assert ask(named, f"{THERE}/", headers=headers).status_code == 200


# ------------------------------------------------------------------------------------------ other pages


OTHERS = [
    "http://evil.example",
    "http://127.0.0.1:8000",
    "http://localhost:8765",
    "https://127.0.0.1:8765",
    "null",
    "file://",
    "",
]


@pytest.mark.parametrize("origin", OTHERS)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS", "GET"])
def test_a_request_of_another_page_is_refused_by_its_origin(origin: str, method: str) -> None:
    behind = Behind()
    assert ask(ALONE, f"{HERE}/api/1/plan", method, headers={"origin": origin}, behind=behind).status_code == 403
    assert behind.reached == []


def test_two_origins_are_refused() -> None:
    two = [("host", "127.0.0.1:8765"), ("origin", HERE), ("origin", "http://evil.example")]
    assert ask(ALONE, f"{HERE}/api/1/plan", "POST", headers=two).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site", "something-new"])
@pytest.mark.parametrize(
    ("method", "path", "more"),
    [
        ("POST", "/api/1/plan", {}),
        ("POST", "/", {"sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}),
        ("GET", "/api/1/machines", {"sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}),
        ("GET", "/", {"sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"}),
        ("GET", "/", {"sec-fetch-mode": "navigate", "sec-fetch-dest": "iframe"}),
        ("GET", "/_nicegui_ws/socket.io/", {"sec-fetch-mode": "cors", "sec-fetch-dest": "empty"}),
    ],
)
def test_a_request_of_another_page_is_refused_by_its_site(
    site: str, method: str, path: str, more: dict[str, str]
) -> None:
    assert ask(ALONE, f"{HERE}{path}", method, headers={"sec-fetch-site": site, **more}).status_code == 403


@pytest.mark.parametrize("path", ["/", "/api"])
def test_a_link_to_a_page_may_be_followed_from_anywhere(path: str) -> None:
    assert ask(ALONE, f"{HERE}{path}", headers=LINK).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": HERE},
        {"origin": HERE, "sec-fetch-site": "same-origin"},
        {"sec-fetch-site": "none"},
        {"origin": "null", "sec-fetch-site": "same-origin"},  # a form of a page that sends no referrer
    ],
)
def test_its_own_pages_and_programs_may_ask(headers: dict[str, str]) -> None:
    assert ask(ALONE, f"{HERE}/api/1/plan", "POST", headers=headers, content=b"{}").text == "2"


def test_a_socket_opens_for_its_own_page_alone() -> None:
    assert socket_opened(ALONE, origin=HERE)
    assert not socket_opened(ALONE)
    assert not socket_opened(ALONE, origin=HERE, host="evil.example:8765")
    assert not socket_opened(ALONE, origin=HERE, sec_fetch_site="cross-site")
    assert not socket_opened(ALONE, origin="null", **LINK)
    for origin in OTHERS:
        assert not socket_opened(ALONE, origin=origin)


# ---------------------------------------------------------------------------------------------- the token


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"authorization": "Bearer "},
        {"authorization": f"Bearer {TOKEN}x"},
        {"authorization": f"Bearer {TOKEN[:-1]}"},
        {"authorization": f"Basic {TOKEN}"},
        {"authorization": "Bearer ÿé"},
        {"cookie": f"bendorder-8765={TOKEN}x"},
        {"cookie": f"bendorder-9999={TOKEN}"},
        {"cookie": f"x={TOKEN}; =; bendorder"},
    ],
)
def test_without_the_token_nothing_is_answered(headers: dict[str, str]) -> None:
    encoded = [(name, value.encode("latin-1")) for name, value in headers.items()]
    for method, path in (("GET", "/"), ("GET", "/_nicegui/x.js"), ("POST", "/api/1/plan"), ("GET", "/api")):
        behind = Behind()
        answer = ask(SHOP, f"{THERE}{path}", method, headers=encoded, behind=behind)  # type: ignore[arg-type]
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"] == "Bearer"
        assert TOKEN not in answer.text
        assert behind.reached == []


def test_programs_send_the_token_in_a_header() -> None:
    answer = ask(SHOP, f"{THERE}/api/1/plan", "POST", headers={"authorization": f"Bearer {TOKEN}"}, content=b"{}")
    assert answer.text == "2"
    assert "set-cookie" not in answer.headers


def test_a_browser_shows_the_token_once_and_keeps_it_out_of_the_address() -> None:
    answer = ask(SHOP, f"{THERE}/steps?token={TOKEN}&step=3&part=a%20b")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/steps?step=3&part=a+b"
    kept = answer.headers["set-cookie"]
    assert kept == f"{cookie_name(SHOP)}={TOKEN}; Path=/; HttpOnly; SameSite=Strict"
    assert TOKEN not in answer.text
    cookie = kept.partition(";")[0]
    assert ask(SHOP, f"{THERE}/steps", headers={"cookie": f"other=1; {cookie}"}).status_code == 200
    there = {"host": "192.168.7.20:8765", "origin": THERE}
    assert socket_opened(SHOP, cookie=cookie, **there)
    assert not socket_opened(SHOP, **there)


def test_a_wrong_token_in_the_address_is_refused_and_not_kept() -> None:
    answer = ask(SHOP, f"{THERE}/?token={TOKEN}x")
    assert answer.status_code == 401
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(("method", "path"), [("POST", "/"), ("GET", "/api/1/machines"), ("POST", "/api/1/plan")])
def test_the_token_in_the_address_opens_pages_only(method: str, path: str) -> None:
    assert ask(SHOP, f"{THERE}{path}?token={TOKEN}", method).status_code == 401


def test_no_path_has_control_characters() -> None:
    for path in ("/x\r\nset-cookie: a=b", "/api/1/machines/a\nb", "/\0", "/\x7f"):
        assert asyncio.run(refused_at(path)) == 400


async def refused_at(path: str) -> int:
    """The status of what the guard answers in the place of the application, 0 where it lets it through."""
    sent: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1:8765")],
    }
    await Guard(Behind(), Settings())(scope, None, send)  # type: ignore[arg-type]
    return int(sent[0]["status"]) if sent else 0


@pytest.mark.parametrize("path", ["//evil.example/", "/\\evil.example", "///evil.example"])
def test_nobody_is_sent_elsewhere_with_the_token(path: str) -> None:
    sent: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "method": "GET", "path": path, "query_string": f"token={TOKEN}".encode(),
        "headers": [(b"host", b"192.168.7.20:8765")],
    }  # fmt: skip
    asyncio.run(Guard(Behind(), SHOP)(scope, None, send))  # type: ignore[arg-type]
    location = dict(sent[0]["headers"])[b"location"].decode()
    assert location.startswith("/")
    assert not location.startswith(("//", "/\\"))
    assert "\n" not in location


def test_after_a_link_from_elsewhere_the_page_goes_on_by_itself() -> None:
    """A cookie that is strict is not sent after a redirect of such a navigation (RFC 6265bis, section 5.2)."""
    answer = ask(SHOP, f"{THERE}/?token={TOKEN}&a=%22%3E%3Cscript%3E", headers=LINK)
    assert answer.status_code == 200
    assert "set-cookie" in answer.headers
    assert '<meta http-equiv="refresh" content="0; url=/?a=%22%3E%3Cscript%3E">' in answer.text


def test_the_token_is_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[tuple[bytes, bytes]] = []

    def compare(one: bytes, other: bytes) -> bool:
        compared.append((one, other))
        return one == other

    monkeypatch.setattr("hmac.compare_digest", compare)
    assert ask(SHOP, f"{THERE}/", headers={"authorization": "Bearer nearly"}).status_code == 401
    assert compared == [(b"nearly", TOKEN.encode())]


# ---------------------------------------------------------------------------------------------- how much


async def in_pieces(size: int, count: int) -> AsyncIterator[bytes]:
    for _ in range(count):
        yield b"x" * size


def test_a_request_may_be_as_large_as_stated_and_no_larger() -> None:
    behind = Behind()
    assert ask(ALONE, f"{HERE}/api/1/plan", "POST", content=b"x" * 1000, largest_body=1000).text == "1000"
    assert ask(ALONE, f"{HERE}/api/1/plan", "POST", content=in_pieces(100, 10), largest_body=1000).text == "1000"
    answer = ask(ALONE, f"{HERE}/api/1/plan", "POST", content=b"x" * 1001, largest_body=1000, behind=behind)
    assert answer.status_code == 413
    assert behind.reached == [], "it says how large it is: nothing of it is read"


@pytest.mark.parametrize("said", [None, "10", "-1", "ten", "0x10"])
def test_a_body_is_counted_while_it_comes_in_whatever_it_says_of_itself(said: str | None) -> None:
    headers = {} if said is None else {"content-length": said}
    answer = ask(ALONE, f"{HERE}/api/1/plan", "POST", content=in_pieces(300, 4), headers=headers, largest_body=1000)
    assert answer.status_code == 413
    assert "1,000 bytes" in answer.text


# ------------------------------------------------------------------------------------------ what is answered


REFUSED: list[tuple[Settings, int, dict[str, Any]]] = [
    (ALONE, 421, {"headers": {"host": "evil.example:8765"}}),
    (ALONE, 403, {"headers": {"origin": "http://evil.example"}}),
    (SHOP, 401, {"headers": {"host": "192.168.7.20:8765"}}),
    (ALONE, 413, {"content": b"x" * 20, "largest_body": 10}),
]


@pytest.mark.parametrize(("settings", "status", "sent"), REFUSED, ids=[str(row[1]) for row in REFUSED])
def test_programs_get_a_document_and_people_a_line(settings: Settings, status: int, sent: dict[str, Any]) -> None:
    to_program = ask(settings, f"{HERE}/api/1/plan", "POST", **sent)
    assert to_program.status_code == status
    document = json.loads(to_program.text)
    assert document["schema"] == "bendorder-error/1"
    assert set(document["error"]) == {"kind", "message"}
    to_people = ask(settings, f"{HERE}/", "POST", **sent)
    assert to_people.status_code == status
    assert to_people.headers["content-type"].startswith("text/plain")
    assert to_people.text == document["error"]["message"] + "\n"


def test_every_answer_tells_the_browser_what_it_may_do() -> None:
    for answer in (ask(ALONE, f"{HERE}/"), ask(ALONE, f"{HERE}/", headers={"host": "evil.example:8765"})):
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers.get_list("x-frame-options") == ["DENY"], "in the place of the application's own"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "camera=()" in answer.headers["permissions-policy"]
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
    assert ask(ALONE, f"{HERE}/").headers["x-kept"] == "yes"


def test_nothing_may_be_loaded_from_anywhere_else() -> None:
    own = {"'self'", "'none'", "'unsafe-inline'", "'unsafe-eval'", "data:", "blob:", "ws://127.0.0.1:8765"}
    for path in ("/", "/api", "/api/1/machines"):
        policy = ask(ALONE, f"{HERE}{path}").headers["content-security-policy"]
        for directive in policy.split("; "):
            name, *sources = directive.split()
            assert set(sources) <= own, name
    reference = ask(ALONE, f"{HERE}/api").headers["content-security-policy"]
    assert "script-src" not in reference
    assert "default-src 'none'" in reference, "so no script runs in the reference"


def test_a_refusal_repeats_nothing_of_the_request() -> None:
    answer = ask(ALONE, f"{HERE}/", headers={"host": "evil.example;script-src:8765"})
    assert "evil" not in answer.text + str(answer.headers)


def test_what_is_no_request_passes() -> None:
    behind = Behind()
    scope = {"type": "lifespan", "path": ""}

    async def sent(_: Any) -> None:
        return None

    async def received() -> dict[str, Any]:
        return {"type": "lifespan.startup"}

    asyncio.run(Guard(behind, ALONE)(scope, received, sent))
    assert len(behind.reached) == 1
