"""A page with 3D views alone, served to one browser: python -m tests.page.view_server prints its address and stays."""

from __future__ import annotations

import socket

import uvicorn
from fastapi import FastAPI
from nicegui import ui

from planner.page.view import MachineView
from tests.page.view_films import handrail


def page() -> None:
    """Two views side by side, right and left head, with buttons that do what a screen does."""
    ui.query(".nicegui-content").style("padding: 0; gap: 0")
    ends = ui.label("").props("id=ends").style("position: absolute; z-index: 9; opacity: 0.01")
    seen: list[str] = []
    with ui.row().style("width: 100vw; height: 100vh; gap: 0; flex-wrap: nowrap"):
        views = []
        for toward in (-1.0, 1.0):
            with ui.element("div").style("flex: 1; height: 100%; min-width: 0").classes("stand"):
                views.append(MachineView(handrail(toward)))

    def told(what: str, shot: int) -> None:
        seen.append(f"{what} {shot}")
        ends.text = ", ".join(seen)

    views[0].on_finished(lambda shot: told("finished", shot))
    views[0].on_shot(lambda shot: told("shot", shot))

    def both() -> None:
        for view in views:
            view.play(3, seconds=1.5)

    def all_of_it() -> None:
        views[0].play_all(15, speed=100.0)

    with ui.row().style("position: absolute; z-index: 9; opacity: 0.01"):
        ui.button("both", on_click=both)
        ui.button("all", on_click=all_of_it)


def main() -> None:
    """Serve on a free port."""
    app = FastAPI()
    ui.page("/", title="views")(page)
    ui.run_with(app, show_welcome_message=False)
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        print(f"http://127.0.0.1:{found.getsockname()[1]}/", flush=True)
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning"))
        server.run(sockets=[found])


if __name__ == "__main__":
    main()
