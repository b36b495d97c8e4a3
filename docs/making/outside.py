"""Looks through a built site for addresses outside it: `python -m docs.making.outside FOLDER` fails where there is one.

A page must show whole without a network, so nothing in it may be fetched from elsewhere, and no link leads out. Text
that only shows an address, as in a command, is none.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Final

OUTSIDE: Final = re.compile(r"(?:[a-z][a-z0-9+.-]*:)?//", re.IGNORECASE)
"""What an address outside begins with: a scheme and two slashes, or the slashes alone."""

IN_STYLE: Final = re.compile(r"""(?:url\(|@import)\s*["']?([^"')\s;]+)""")
IN_SCRIPT: Final = re.compile(r"""["'`]((?:https?|wss?):)?//[^"'`]*""")


class _Page(HTMLParser):
    """Notes every attribute of a page that names an address outside."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look through the attributes of an element."""
        for name, value in attrs:
            text = (value or "").strip()
            if OUTSIDE.match(text) or (name == "style" and any(map(OUTSIDE.match, IN_STYLE.findall(text)))):
                self.found.append(f"{tag} {name}={text}")


def addresses(file: Path) -> list[str]:
    """Return what in one file of a site leads outside it."""
    if file.suffix not in (".html", ".css", ".js", ".svg"):
        return []
    text = file.read_text(encoding="utf-8")
    if file.suffix == ".css":
        return [found for found in IN_STYLE.findall(text) if OUTSIDE.match(found)]
    if file.suffix == ".js":
        # The list of sections is text of the pages, and nothing in it is fetched.
        return [] if file.name == "index.js" else [found[0] for found in IN_SCRIPT.finditer(text)]
    page = _Page()
    page.feed(text)
    return page.found


def outside(site: Path) -> Iterator[str]:
    """Yield every address outside a built site, with the file that it stands in."""
    for file in sorted(site.rglob("*")):
        if file.is_file():
            yield from (f"{file.relative_to(site)}: {found}" for found in addresses(file))


if __name__ == "__main__":
    pages = len([*Path(sys.argv[1]).rglob("*.html")])
    if found := [*outside(Path(sys.argv[1]))]:
        sys.exit("\n".join(["Addresses outside the site:", *found]))
    print(f"{pages} pages, no address outside them")
    sys.exit(0 if pages else "no page was built")
