"""The moving 3D view of a tube in a machine: an element of the page that shows a film (see `film`) in the browser.

Python sends the film once and then only says what to show: a shot and how far it has gone. The browser interpolates the
poses and draws them, so a motion runs at the tablet's own frame rate. What is shown is kept with the element, too:
a browser that connects again finds it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any, Literal

import nicegui.elements.scene  # noqa: F401  brings three.js to the page as the module "nicegui-scene"
from nicegui.awaitable_response import AwaitableResponse
from nicegui.element import Element
from nicegui.events import GenericEventArguments

Look = Literal["machine", "above", "front", "part"]


class MachineView(Element, component="view/machine_view.js", esm={"bendorder-view": "view"}):
    """A tube in a machine, drawn and moved in the browser.

    film: what `Film.as_dict` returns, or None for an empty floor. Fills the element around it; give that one a height.
    Views whose motions are started by calls one after another run by one clock, so they keep step.
    """

    def __init__(self, film: dict[str, Any] | None = None) -> None:
        super().__init__()
        self._shots = _shots_in(film)
        self._props["kept"] = 0
        self._keep(film=_packed(film), at=[0, 0.0], marked=[], looking="machine")
        self.on("stands", self._catch_up)

    def show(self, film: dict[str, Any] | None) -> None:
        """Show another film from the start of its first shot, without marks; a camera moved by hand stays."""
        packed = _packed(film)
        self._shots = _shots_in(film)
        self._keep(film=packed, at=[0, 0.0], marked=[])
        self.run_method("show", packed)

    def seek(self, shot: int, fraction: float = 0.0) -> None:
        """Stop, and show a shot as far as a fraction of it, 0 … 1."""
        self._keep(at=[shot, fraction])
        self.run_method("seek", shot, fraction)

    def play(self, shot: int, speed: float = 1.0, seconds: float | None = None) -> None:
        """Play a shot from its start; at its end the event `finished` comes.

        It takes as long as at the machine divided by `speed`, but 0.6 s to 6 s; `seconds` [s] overrules that, so that
        two views with different shots keep step. A shot in which nothing moves ends at once, and so does every shot in
        browsers that ask for little motion.
        """
        self._keep(at=[shot, 1.0])
        self.run_method("play", shot, speed, seconds)

    def play_all(self, from_shot: int = 0, speed: float = 1.0) -> None:
        """Play all shots from one on; the event `shot` comes as each begins, `finished` after the last."""
        self._keep(at=[max(0, self._shots - 1), 1.0])
        self.run_method("play_all", from_shot, speed)

    def stop(self) -> None:
        """Stop where the motion is; nothing if none is."""
        self.run_method("stop")

    def marks(self, marks: Sequence[dict[str, Any]]) -> None:
        """Mark solids and places of the tube: `{"solid": name or None, "place": mm from end A or None, "text": …}`."""
        self._keep(marked=list(marks))
        self.run_method("marks", list(marks))

    def look(self, look: Look) -> None:
        """Turn the camera: all that moves ("machine"), from above, from the front, or near, at the leading part.

        Near ("part") shows the dies, the first 350 mm of the tail, and the leading part. Of one that reaches further
        than 3.6 m from the tangent point it shows what is within 2.5 m: beside all of it the dies would be a speck.
        """
        self._keep(looking=look)
        self.run_method("look", look)

    def centreline_now(self, timeout: float = 1.0) -> AwaitableResponse:
        """Return, awaited, the centreline as drawn now: points [x, y, z] in the machine frame [mm] from the tail on."""
        return self.run_method("centreline_now", timeout=timeout)

    def on_finished(self, handler: Callable[[int], None]) -> None:
        """Call `handler` with the number of the shot when a motion has come to its end (not when it is stopped)."""
        self.on("finished", lambda event: handler(_shot_of(event)))

    def on_shot(self, handler: Callable[[int], None]) -> None:
        """Call `handler` with the number of each shot that begins to play."""
        self.on("shot", lambda event: handler(_shot_of(event)))

    def _keep(self, **state: Any) -> None:
        """Keep what is shown for browsers that connect later, without sending the film again to those that are here."""
        with self._props.suspend_updates():
            for name, value in state.items():
                self._props[name] = value
            self._props["kept"] += 1

    def _catch_up(self, event: GenericEventArguments) -> None:
        """Show what is kept in a view that has just been built from an older state, and so missed calls."""
        if event.args["kept"] != self._props["kept"]:
            self.run_method("show", *(self._props[name] for name in ("film", "at", "marked", "looking")))


def _packed(film: dict[str, Any] | None) -> str:
    """Return the film as text, so that neither side watches its thousands of numbers for changes."""
    return "" if film is None else json.dumps(film, separators=(",", ":"))


def _shots_in(film: dict[str, Any] | None) -> int:
    """Return the number of shots of a film."""
    return 0 if film is None else len(film["shots"])


def _shot_of(event: GenericEventArguments) -> int:
    """Return the number of the shot that an event tells of."""
    return int(event.args["shot"])
