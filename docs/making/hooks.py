"""What the site's builder calls: puts what is made into pages, frames wide tables, lists sections for searching."""

from __future__ import annotations

import json
import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # the program as it lies here

from docs.making.tables import made

SECTIONS: Final[list[dict[str, str]]] = []
"""Of all pages so far: page, heading, address from the site's root, text."""


class _Sections(HTMLParser):
    """Takes a page apart into its sections, each with the anchor of its heading."""

    def __init__(self, page: str, url: str) -> None:
        super().__init__()
        self.page, self.url, self.heading = page, url, False
        self.found: list[dict[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a section at each heading."""
        if re.fullmatch("h[1-4]", tag):
            anchor = dict(attrs).get("id") or ""
            url = self.url if tag == "h1" else f"{self.url}#{anchor}"
            self.found.append({"page": self.page, "heading": "", "url": url, "text": ""})
            self.heading = True

    def handle_endtag(self, tag: str) -> None:
        """End a heading."""
        self.heading = self.heading and not re.fullmatch("h[1-4]", tag)

    def handle_data(self, data: str) -> None:
        """Add text to the section at hand."""
        if self.found:
            self.found[-1]["heading" if self.heading else "text"] += data


def on_config(config: Any) -> Any:
    """Begin anew."""
    SECTIONS.clear()
    return config


def on_page_markdown(markdown: str, **_: Any) -> str:
    """Put what is made into a page."""
    return made(markdown)


def on_page_content(html: str, page: Any, **_: Any) -> str:
    """Let wide tables be pushed along by themselves, and note the sections."""
    sections = _Sections(page.title, page.url)
    sections.feed(html)
    SECTIONS.extend({**one, "text": " ".join(one["text"].split())} for one in sections.found)
    return html.replace("<table>", '<div class="wide"><table>').replace("</table>", "</table></div>")


def on_post_build(config: Any) -> None:
    """Write the list of sections."""
    text = f"const INDEX = {json.dumps(SECTIONS, ensure_ascii=False)};\n"
    Path(config.site_dir, "index.js").write_text(text, encoding="utf-8")
