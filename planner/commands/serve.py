"""`bendorder serve`: the page beside the machine."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter, validators

from planner.commands.app import Profiles, app

EPILOGUE = """Examples:
  bendorder serve
  bendorder serve --listen 0.0.0.0 --token new

It listens to this computer alone unless told otherwise, needs no internet and no account, and keeps running until
Ctrl-C. It shows plans; it never moves the machine, and the shop's own cautions stand."""


@app.command(
    name="serve",
    help="Show plans on a page in the browser, step by step, and answer programs over HTTP (see /api).",
    help_epilogue=EPILOGUE,
)
def serve_command(
    *,
    port: Annotated[
        int,
        Parameter(validator=validators.Number(gte=0, lte=65535), help="The port; 0 takes any free one."),
    ] = 8765,
    listen: Annotated[
        str,
        Parameter(help="The address to listen on; one that other computers reach needs a token, 0.0.0.0 is every one."),
    ] = "127.0.0.1",
    token: Annotated[
        str | None,
        Parameter(
            help='What every browser must show once: at least 16 letters and digits, or "new" for one that is made up.',
            show_default=False,
        ),
    ] = None,
    folder: Annotated[
        Path | None, Parameter(help="A folder of part files to offer beside the examples.", show_default=False)
    ] = None,
    profiles: Profiles = None,
    no_browser: Annotated[
        bool, Parameter(negative=(), help="Do not open the page in a browser.", show_default=False)
    ] = False,
) -> int:
    """Serve the page until it is interrupted, and return the exit code."""
    _need_the_extra()
    from planner.page.server import serve
    from planner.page.settings import token_for

    return serve(
        host=listen,
        port=port,
        token=token_for(listen, token),
        folder=folder,
        profiles=profiles,
        open_browser=not no_browser,
    )


def _need_the_extra() -> None:
    """Raise InputError if what the page is made with is not installed."""
    if find_spec("nicegui") is None:
        from planner.errors import InputError

        raise InputError(
            'the extra "page" is not installed',
            file="command line",
            key="serve",
            allowed="pip install 'bendorder[page]'",
        )
