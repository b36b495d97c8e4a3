"""Connections: who sends slowly, or without an end, is given up before anything is made of it, and holds up nobody.

The limits of time are cut down here, so that nobody has to wait for them.
"""

from __future__ import annotations

import resource
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any

import pytest
import uvicorn

from planner.page import connections
from planner.page.connections import LONGEST_HEAD, connection_class
from tests.processes import PATIENCE

SOON = 0.4
"""In the place of the limits of time [s]."""

SOME_TIME = 1.5
"""The same where a request has to come in time: no computer is so busy that it does not send one by then [s]."""

NEVER = 60.0


async def echo(scope: Any, receive: Any, send: Any) -> None:
    """Answer with how many bytes came."""
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.accept"})
        while (await receive())["type"] != "websocket.disconnect":
            pass
        return
    size, more = 0, True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            return
        size, more = size + len(message["body"]), message["more_body"]
    text = f"{size} bytes".encode()
    length = str(len(text)).encode()
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", length)]})
    await send({"type": "http.response.body", "body": text})


@contextmanager
def answering(most: int = 200) -> Iterator[int]:
    """A server in a thread; gives its port."""
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        echo, http=connection_class(most), h11_max_incomplete_event_size=LONGEST_HEAD, log_level="error", lifespan="off",
        timeout_graceful_shutdown=1,
    )  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        while not server.started:
            time.sleep(0.005)
        yield listening.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()
        listening.close()


@contextmanager
def connected(port: int) -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection:
        yield connection


def answer_of(connection: socket.socket) -> bytes:
    """What comes until it ends as `echo` ends: head and body may come apart."""
    said = b""
    while not said.endswith(b" bytes") and (some := connection.recv(65536)):
        said += some
    return said


def rest_of(connection: socket.socket) -> bytes:
    """All that comes until the connection is closed."""
    said = b""
    with suppress(ConnectionResetError):
        while some := connection.recv(65536):
            said += some
    return said


HEAD = b"POST / HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 4\r\n\r\n"


@pytest.mark.parametrize("begun", [b"", b"G", b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\n", HEAD[:-2]])
def test_a_head_that_does_not_come_is_given_up(begun: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEAD_BY", SOON)
    with answering() as port, connected(port) as slow:
        slow.sendall(begun)
        assert rest_of(slow).startswith(b"HTTP/1.1 408 ")


def test_a_head_that_trickles_gains_no_time_by_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEAD_BY", SOON)
    with answering() as port, connected(port) as slow:
        sent = 0
        with suppress(OSError):  # it is closed
            while sent < 20 * PATIENCE / SOON:
                slow.sendall(b"x")
                sent += 1
                time.sleep(SOON / 20)
        assert sent < 20 * PATIENCE / SOON


@pytest.mark.parametrize(
    "begun", [HEAD, HEAD + b"12", b"POST / HTTP/1.1\r\nhost: a\r\ntransfer-encoding: chunked\r\n\r\n2\r\nab\r\n"]
)
def test_a_body_that_does_not_come_is_given_up(begun: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "WHOLE_BY", SOON)
    with answering() as port, connected(port) as slow:
        slow.sendall(begun)
        assert rest_of(slow).startswith(b"HTTP/1.1 408 ")


def test_a_request_that_comes_whole_is_answered_and_the_next_one_has_its_own_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(connections, "HEAD_BY", SOME_TIME)
    monkeypatch.setattr(connections, "WHOLE_BY", SOME_TIME)
    with answering() as port, connected(port) as kept:
        for _ in range(2):
            kept.sendall(HEAD + b"1234")
            assert b"\r\n4 bytes" in answer_of(kept)
            time.sleep(0.6 * SOME_TIME)
        kept.sendall(HEAD + b"1234" + HEAD[:20])
        rest = rest_of(kept)
        assert b"4 bytes" in rest
        assert b" 408 " in rest, "half a request behind a whole one is given up too"


def test_a_socket_of_a_page_is_no_request_that_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEAD_BY", SOON)
    monkeypatch.setattr(connections, "WHOLE_BY", SOON)
    with answering() as port, connected(port) as page:
        page.sendall(
            b"GET / HTTP/1.1\r\nhost: a\r\nconnection: upgrade\r\nupgrade: websocket\r\nsec-websocket-version: 13\r\n"
            b"sec-websocket-key: dG93cGF0aCBiZW5kZXIhIQ==\r\n\r\n"
        )
        assert page.recv(65536).startswith(b"HTTP/1.1 101 ")
        page.settimeout(3 * SOON)
        with pytest.raises(TimeoutError):
            page.recv(1)


@pytest.mark.parametrize("line", [b"x: " + b"y" * 70 + b"\r\n", b"y" * 64])
def test_a_head_without_an_end_is_refused_at_its_most(line: bytes) -> None:
    with answering() as port, connected(port) as endless:
        sent = 0
        endless.sendall(b"GET / HTTP/1.1\r\nhost: a\r\n")
        with suppress(OSError):
            while sent < 100 * LONGEST_HEAD:
                endless.sendall(line * 100)
                sent += 100 * len(line)
        assert sent < 100 * LONGEST_HEAD
        assert rest_of(endless)[:13] in (b"HTTP/1.1 400 ", b"")


def test_of_too_many_that_are_not_finished_the_first_is_given_up_and_others_are_served(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(connections, "HEAD_BY", NEVER)
    monkeypatch.setattr(connections, "YOUNG", 0.0)
    with answering(most=5) as port, ExitStack() as stack:
        slow = []
        for number in range(8):
            slow.append(stack.enter_context(connected(port)))
            slow[-1].sendall(b"GET")
            if number >= 5:
                assert rest_of(slow[number - 5]).startswith(b"HTTP/1.1 408 "), "the one that has taken longest"
        fresh = stack.enter_context(connected(port))
        fresh.sendall(HEAD + b"1234")
        assert b"\r\n4 bytes" in answer_of(fresh)
        slow[-1].sendall(b" / HTTP/1.1\r\nhost: a\r\n\r\n")
        assert b"\r\n0 bytes" in answer_of(slow[-1]), "who was not given up goes on"


def test_many_that_come_at_once_do_not_drive_out_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "YOUNG", NEVER)
    with answering(most=3) as port, ExitStack() as stack:
        many = [stack.enter_context(connected(port)) for _ in range(10)]
        for one in many:
            one.sendall(HEAD[:-2])
        for one in many:
            one.sendall(b"\r\n1234")
            assert b"\r\n4 bytes" in answer_of(one)


@pytest.mark.parametrize(
    ("limits", "wanted"),
    [
        ((1024, 4096), [(4096, 4096)]),
        ((1024, 1_000_000), [(8192, 1_000_000)]),
        ((10_000, 20_000), []),
        ((4096, 4096), []),
    ],
)
def test_as_many_connections_are_asked_for_as_are_wanted_or_may_be(
    limits: tuple[int, int], wanted: list[tuple[int, int]], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[int, int]] = []
    monkeypatch.setattr(resource, "getrlimit", lambda _: limits)
    monkeypatch.setattr(resource, "setrlimit", lambda _, both: asked.append(both))
    connections.allow_connections()
    assert asked == wanted


def test_without_an_end_to_what_may_be_asked_for_it_is_what_is_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[int, int]] = []
    monkeypatch.setattr(resource, "getrlimit", lambda _: (256, resource.RLIM_INFINITY))
    monkeypatch.setattr(resource, "setrlimit", lambda _, both: asked.append(both))
    connections.allow_connections()
    assert asked == [(8192, resource.RLIM_INFINITY)]
