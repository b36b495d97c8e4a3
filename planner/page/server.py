"""The server: guard, API and pages in one application, run until it is interrupted.

What is slow to import is imported while the first worker starts, not before.
"""

from __future__ import annotations

import asyncio
import os
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

from planner.errors import InputError
from planner.inputs.profiles import list_profiles
from planner.page.examples import example_parts
from planner.page.jobs import Workers
from planner.page.settings import LARGEST_BODY, LOOPBACK, PORT, Settings

if TYPE_CHECKING:
    from fastapi import FastAPI

AT_FIRST: Final = 2
"""So many workers start with the server: a page that is opened asks for a plan, then for more about it."""

WAIT_FOR_BROWSERS: Final = 2
"""Connections that are still open then are cut when the server ends [s]."""


def build(settings: Settings, workers: Workers) -> FastAPI:
    """Return the application."""
    from fastapi import FastAPI
    from nicegui import ui

    from planner.page.guard import Guard
    from planner.page.programs import routes_for_programs
    from planner.page.screens import build_pages

    @asynccontextmanager
    async def running(_: FastAPI) -> AsyncIterator[None]:
        workers.start()
        yield
        await workers.close()

    examples = example_parts()
    app = FastAPI(lifespan=running, openapi_url=None, docs_url=None, redoc_url=None)
    app.router.routes += routes_for_programs(workers, examples, settings)
    build_pages(workers, examples, settings)
    ui.run_with(
        app,
        title="bendorder",
        language="en-US",
        dark=None,
        show_welcome_message=False,
        storage_secret=secrets.token_urlsafe(32),  # no longer-lived than what the pages keep
        session_middleware_kwargs={"session_cookie": f"bendorder-session-{settings.port}", "same_site": "strict"},
    )
    app.add_middleware(Guard, settings=settings)
    return app


def warm_up() -> None:
    """Make a new worker ready for its first job (here so that the server need not import planning to start one)."""
    from planner.page import tasks

    tasks.warm_up()


def serve(
    host: str = LOOPBACK,
    port: int = PORT,
    token: str | None = None,
    folder: Path | None = None,
    profiles: Path | None = None,
    open_browser: bool = True,
) -> int:
    """Serve the page until it is interrupted and return the exit code; port 0 takes any free one.

    Raises InputError if the port is in use, the host is not this computer's, or a folder is none.
    """
    list_profiles(profiles)
    if folder is not None:
        example_parts(folder)
    listening = listen(host, port)
    settings = Settings(host, listening.getsockname()[1], token, folder, profiles)
    workers = Workers(warm_up=warm_up)
    try:
        workers.start(AT_FIRST)
        _run(settings, workers, listening, open_browser)
    except KeyboardInterrupt:
        pass  # the way to end it
    finally:
        workers.stop()
        workers.wait_until_gone()
        listening.close()
    return 0


def listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens; raises InputError that says what is in the way."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        return socket.create_server((host, port), family=family, backlog=128)
    except socket.gaierror:
        raise InputError(
            f'there is no host "{host}"', file="command line", key="--listen", found=host,
            allowed="an address or a name of this computer, or 0.0.0.0 for all of its addresses",
        ) from None  # fmt: skip
    except OSError as error:
        raise _not_free(host, port, error) from None


def _not_free(host: str, port: int, error: OSError) -> InputError:
    import errno

    allowed = "another port with --port, or --port 0 for any free one"
    if error.errno == errno.EADDRINUSE:
        problem = f"port {port} of {host} is in use, perhaps by another `bendorder serve`"
    elif error.errno == errno.EACCES:
        problem = f"port {port} of {host} may not be used by this user"
    else:
        problem, allowed = f"{host} cannot be listened on: {error.strerror}", "an address of this computer"
    return InputError(problem, file="command line", key="--port", found=port, allowed=allowed)


def _run(settings: Settings, workers: Workers, listening: socket.socket, open_browser: bool) -> None:
    import uvicorn

    from planner.page.connections import LONGEST_HEAD, allow_connections, connection_class

    class Server(uvicorn.Server):
        """Tells when it answers, and stops the jobs before it waits for those who wait for them."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                _tell(settings.url, open_browser)

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            workers.stop()
            await super().shutdown(sockets)

    config = uvicorn.Config(
        build(settings, workers),
        http=connection_class(),
        h11_max_incomplete_event_size=LONGEST_HEAD,
        log_level="error",  # what is no request is answered, not told
        access_log=False,
        proxy_headers=False,
        server_header=False,
        ws_max_size=LARGEST_BODY,
        timeout_graceful_shutdown=WAIT_FOR_BROWSERS,
    )
    allow_connections()
    asyncio.run(Server(config).serve(sockets=[listening]))


def _tell(url: str, open_browser: bool) -> None:
    """Say where the page is, and open it."""
    print(url, flush=True)
    print("Ctrl-C ends it.", file=sys.stderr)
    if open_browser and _has_screen():
        threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()


def _has_screen() -> bool:
    """Say whether a browser would open in a window (without one some open in the terminal)."""
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
