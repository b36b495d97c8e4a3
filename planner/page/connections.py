"""Connections to the page: a request has to come whole soon, and its head may not be long.

This stands before the guard: whoever sends slowly, or without an end, holds up nobody, whether or not he has the token.
"""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import Any, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

LONGEST_HEAD: Final = 32_768
"""Request line and headers [bytes]; cookies of everything else on this computer are among them."""

HEAD_BY: Final = 10.0
"""A request's head must have come so soon after its first byte, or after the connection was made [s]."""

WHOLE_BY: Final = 30.0
"""The same of its body, from its head on [s]: a megabyte in that time goes through any network of a workshop."""

MOST_UNFINISHED: Final = 200
"""So many requests may be on their way at once: for another one that which has taken longest is given up, …"""

YOUNG: Final = 1.0
"""… unless it has not taken so long yet: many that come at once do not drive out each other [s]."""

MOST_FILES: Final = 8_192
"""So many connections the system is asked to allow; some allow 256 or 1,024 unless asked."""

TOO_SLOW: Final = (
    b"HTTP/1.1 408 Request Timeout\r\ncontent-type: text/plain; charset=utf-8\r\ncontent-length: 34\r\n"
    b"connection: close\r\n\r\nthe request did not come in time.\n"
)


class Unfinished:
    """The requests that have not come whole yet, the one that has taken longest first."""

    def __init__(self, most: int = MOST_UNFINISHED) -> None:
        self._most = most
        self._waited_for: dict[Connection, tuple[asyncio.TimerHandle, float]] = {}

    def __len__(self) -> int:
        return len(self._waited_for)

    def __contains__(self, connection: Connection) -> bool:
        return connection in self._waited_for

    def wait_for(self, connection: Connection, seconds: float) -> None:
        """Give a connection so long [s] until it is `come`; of too many the first one is given up."""
        self.come(connection)
        loop = asyncio.get_running_loop()
        self._waited_for[connection] = loop.call_later(seconds, self._give_up, connection), loop.time()
        first, (_, since) = next(iter(self._waited_for.items()))
        if len(self._waited_for) > self._most and loop.time() - since >= YOUNG:
            self._give_up(first)

    def come(self, connection: Connection) -> None:
        """Wait for a connection no more."""
        waited_for = self._waited_for.pop(connection, None)
        if waited_for is not None:
            waited_for[0].cancel()

    def _give_up(self, connection: Connection) -> None:
        self.come(connection)
        connection.give_up()


class Connection(H11Protocol):
    """One connection; all of them share `unfinished`."""

    unfinished: Unfinished
    _in_body = False

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """Wait for a request's head."""
        super().connection_made(transport)
        self.unfinished.wait_for(self, HEAD_BY)

    def data_received(self, data: bytes) -> None:
        """Take in what came, and wait for the rest if there is one."""
        super().data_received(data)
        self._look()

    def on_response_complete(self) -> None:
        """Begin with the next request, which may have come with this one."""
        super().on_response_complete()
        if self.conn.trailing_data[0]:
            self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing any more."""
        self.unfinished.come(self)
        super().connection_lost(exc)

    def give_up(self) -> None:
        """Close the connection: the request did not come."""
        if self.transport.is_closing():
            return
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            self.transport.write(TOO_SLOW)
        self.transport.close()

    def _look(self) -> None:
        """See how far the request has come."""
        theirs, elsewhere = self.conn.their_state, self.transport.get_protocol() is not self
        if elsewhere or theirs not in (h11.IDLE, h11.SEND_BODY):
            self.unfinished.come(self)
            self._in_body = False
        elif theirs is h11.SEND_BODY and not self._in_body:
            self._in_body = True
            self.unfinished.wait_for(self, WHOLE_BY)
        elif theirs is h11.IDLE and (self._in_body or self not in self.unfinished):
            self._in_body = False
            self.unfinished.wait_for(self, HEAD_BY)


def connection_class(most: int = MOST_UNFINISHED) -> type[Connection]:
    """Return the class of a server's connections."""
    kind: dict[str, Any] = {"unfinished": Unfinished(most)}
    return type("ServerConnection", (Connection,), kind)


def allow_connections(most: int = MOST_FILES) -> None:
    """Ask the system for as many open files as it lets this user have, up to the most."""
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = most if hard == resource.RLIM_INFINITY else min(most, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
