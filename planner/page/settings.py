"""How the page is served: where it listens, who may see it, and which folders it shows."""

from __future__ import annotations

import ipaddress
import re
import secrets
import socket
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from planner.errors import InputError

LOOPBACK: Final = "127.0.0.1"
LOOPBACK_NAMES: Final = frozenset({"127.0.0.1", "localhost", "::1"})
PORT: Final = 8765
HEALTH: Final = "/health"
"""Programs that look after the server ask there, without the token."""

LARGEST_BODY: Final = 1_000_000
"""A request may be so large [bytes]; the examples are no larger than two thousand."""

SHORTEST_TOKEN: Final = 16
TOKEN: Final = re.compile(rf"[A-Za-z0-9_-]{{{SHORTEST_TOKEN},200}}")


@dataclass(frozen=True)
class Settings:
    """host: where it listens; port; token: what every request must carry, None where only this computer can ask;
    folder: the workshop's own part files; profiles: a folder of machine profiles to look in first.
    """

    host: str = LOOPBACK
    port: int = PORT
    token: str | None = None
    folder: Path | None = None
    profiles: Path | None = None

    @property
    def wider(self) -> bool:
        """Whether other computers can ask."""
        return not is_loopback(self.host)

    @cached_property
    def names(self) -> frozenset[str]:
        """The names that this computer may be asked by, besides addresses where it listens wider."""
        if not self.wider:
            return LOOPBACK_NAMES | {self.host.lower()}
        own = socket.gethostname().lower()
        return LOOPBACK_NAMES | {self.host.lower(), own, own.partition(".")[0], f"{own.partition('.')[0]}.local"}

    def answers_to(self, name: str) -> bool:
        """Say whether a host name is this computer's; an address is where it listens wider, for none can be rebound."""
        return name in self.names or (self.wider and _is_address(name))

    @property
    def url(self) -> str:
        """The page's address, with the token if there is one."""
        host = self.host
        if host in ("0.0.0.0", "::"):
            host = _own_address(host)
        shown = f"[{host}]" if ":" in host else host
        return f"http://{shown}:{self.port}/" + ("" if self.token is None else f"?token={self.token}")


def is_loopback(host: str) -> bool:
    """Say whether only this computer reaches a host."""
    if host.lower() in LOOPBACK_NAMES:
        return True
    return _is_address(host) and ipaddress.ip_address(host).is_loopback


def token_for(host: str, given: str | None) -> str | None:
    """Return the token to serve with: the one given, or one made up for "new"; raises InputError.

    A host that other computers reach needs one, and so that it can be neither guessed nor spoiled in a URL or a cookie
    it has at least sixteen of certain characters.
    """
    if given == "new":
        return secrets.token_urlsafe(24)
    allowed = f'at least {SHORTEST_TOKEN} letters, digits, "-" or "_", or "new" for one that is made up'
    if given is None and not is_loopback(host):
        raise InputError(
            f"without a token everybody who reaches {host} could use the page", file="command line", key="--token",
            allowed=f"--token with {allowed}",
        )  # fmt: skip
    if given is not None and not TOKEN.fullmatch(given):
        raise InputError("the token can be guessed or spoiled", file="command line", key="--token", allowed=allowed)
    return given


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _own_address(any_address: str) -> str:
    """Return this computer's address in its network (nothing is sent), its name where it has none."""
    family, far = (socket.AF_INET6, "2001:db8::1") if ":" in any_address else (socket.AF_INET, "192.0.2.1")
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as asked:
            asked.connect((far, 9))
            return str(asked.getsockname()[0])
    except OSError:
        return socket.gethostname()
