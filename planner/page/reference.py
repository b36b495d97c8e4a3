"""The reference of the API as a page: written from its own OpenAPI document, readable without the internet."""

from __future__ import annotations

import json
import re
from collections.abc import Awaitable, Callable, Iterator, Mapping
from html import escape
from typing import Any, Final

from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import HTMLResponse

from planner.page.error_responses import EVERYWHERE
from planner.page.settings import HEALTH, Settings

Schema = Mapping[str, Any]

METHODS: Final = ("get", "post")

PART: Final = {
    "name": "galley shelf rail",
    "units": "mm",
    "machine": "canal-workshop",
    "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
    "shape": {"bend_radius": 76.2, "lra": [[400, 0, 90], [300, 90, 90], [500]]},
}
"""Invented part: what the examples below send."""

BODIES: Final[dict[str, dict[str, Any]]] = {
    "/plan": {"part": PART, "machine": "canal-workshop"},
    "/why": {"part": PART, "order": "1A 2A", "changes": False},
    "/check": {"part": PART, "machines": ["canal-workshop", "long-bed"]},
}
NAMES: Final = {"/machines/{name}": "canal-workshop", "/examples/{name}": "cabin-grab-rail"}

WORDS: Final = {"integer": "whole number", "string": "text", "boolean": "true or false"}
"""What kinds of values are called where the schema's own word is not plain."""

STYLE: Final = """
:root { color-scheme: light dark; --line: #8886; --soft: #8881; --accent: light-dark(#0b5, #3d8); }
body { font: 17px/1.5 system-ui, sans-serif; max-width: 60rem; margin: 0 auto; padding: 1rem 1.25rem 4rem; }
h1 { font-size: 1.8rem; } h2 { margin-top: 2.5rem; border-top: 1px solid var(--line); padding-top: 1rem; }
code, pre { font-family: ui-monospace, monospace; font-size: .92em; }
pre { background: var(--soft); padding: .8rem; overflow-x: auto; border-radius: .4rem; white-space: pre-wrap;
  overflow-wrap: anywhere; }
table { border-collapse: collapse; width: 100%; } .wide { overflow-x: auto; }
th, td { text-align: left; vertical-align: top; padding: .35rem .6rem .35rem 0; border-bottom: 1px solid var(--line); }
th { font-weight: 600; } .method { font-weight: 700; text-transform: uppercase; margin-right: .5rem; }
summary { cursor: pointer; padding: .35rem 0; } a { color: inherit; text-underline-offset: .15em; }
a:focus-visible, summary:focus-visible { outline: 3px solid var(--accent); outline-offset: 2px; }
""".strip()


def reference_of(api: FastAPI, settings: Settings) -> Callable[[Request], Awaitable[HTMLResponse]]:
    """Return what answers with the reference page of an API mounted at /api/1."""

    async def reference(request: Request) -> HTMLResponse:
        base = f"http://{request.headers['host']}/api/1"
        return HTMLResponse(page_of(api.openapi(), base, settings.token is not None))

    return reference


def page_of(document: Schema, base: str, with_token: bool) -> str:
    """Return the page of an OpenAPI document; base: the API's URL; with_token: programs must send one."""
    about = "".join(f"<p>{_text(text)}</p>" for text in document["info"]["description"].split("\n\n"))
    token = "<p>Every request carries the token: <code>Authorization: Bearer TOKEN</code>.</p>" if with_token else ""
    asked = [*_operations(document)]
    listed = "".join(f'<li><a href="#{_anchor(*which)}">{_named(*which)}</a> {escape(one["summary"])}</li>'
                     for *which, one in asked)  # fmt: skip
    told = "".join(_told(document, path, method, one, base, with_token) for path, method, one in asked)
    schemas = "".join(_schema(name, schema) for name, schema in document["components"]["schemas"].items())
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>bendorder: the API</title>'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head><body><main>'
        f'<h1>The API for programs</h1>{about}{token}<p>As data: <a href="/api/1/openapi.json">openapi.json</a>.'
        f' <a href="/">Back to the page</a>.</p><ul>{listed}</ul>{told}{_everywhere()}'
        f'<h2 id="documents">Documents</h2>{schemas}'
        "</main></body></html>"
    )


def _everywhere() -> str:
    """Return what any request may be answered with, and how to ask whether the server is well."""
    rows = "".join(f"<tr><td>{status}</td><td>{escape(answer['description'])}</td></tr>"
                   for status, answer in EVERYWHERE.items())  # fmt: skip
    told = f"""<code>{HEALTH}</code>, which needs no token and starts no work, tells how many workers there are, how
        many jobs are under way and waiting, and how many seconds a new one would wait about. Jobs take turns: of the
        client with the fewest under way the oldest one. A question that was asked before is answered from what is
        kept."""
    return (
        f'<section><h2 id="any">What any request may be answered with</h2><div class="wide"><table><tr><th>status</th>'
        f"<th>when</th></tr>{rows}</table></div><p>{told}</p></section>"
    )


def curl_of(path: str, method: str, base: str, with_token: bool = False) -> str:
    """Return the command that asks an operation, for a POSIX shell."""
    words = ["curl -s"]
    if with_token:
        words.append('-H "Authorization: Bearer $TOKEN"')
    url = f"{base}{path.replace('{name}', NAMES.get(path, ''))}"
    if method == "get":
        return " ".join([*words, url])
    body = json.dumps(BODIES[path])
    return " ".join([*words, url, "-H 'Content-Type: application/json'", f"-d '{body}'"])


def _operations(document: Schema) -> Iterator[tuple[str, str, Schema]]:
    for path, entry in document["paths"].items():
        for method in METHODS:
            if method in entry:
                yield path, method, entry[method]


def _anchor(path: str, method: str) -> str:
    return f"{method}{path}".replace("/", "-").replace("{", "").replace("}", "")


def _named(path: str, method: str) -> str:
    return f'<span class="method">{method}</span><code>/api/1{escape(path)}</code>'


def _told(document: Schema, path: str, method: str, one: Schema, base: str, with_token: bool) -> str:
    """Return the part of the page about one operation."""
    answers = "".join(
        f"<tr><td>{status}</td><td>{escape(answer['description'])}</td><td>{_answered(answer)}</td></tr>"
        for status, answer in one["responses"].items()
        if int(status) not in EVERYWHERE
    )
    return (
        f'<section><h2 id="{_anchor(path, method)}">{_named(path, method)}</h2><p>{_text(one["description"])}</p>'
        f"{_asked(document, one)}<p>For example:</p><pre>{escape(curl_of(path, method, base, with_token))}</pre>"
        f'<div class="wide"><table><tr><th>status</th><th>when</th><th>answer</th></tr>{answers}</table></div>'
        "</section>"
    )


def _asked(document: Schema, one: Schema) -> str:
    """Return the keys of the body that an operation takes."""
    if "requestBody" not in one:
        return ""
    name = _name(one["requestBody"]["content"]["application/json"]["schema"]["$ref"])
    return _keys(document["components"]["schemas"][name])


def _answered(answer: Schema) -> str:
    schema = answer.get("content", {}).get("application/json", {}).get("schema", {})
    return _kind(schema) if schema else ""


def _schema(name: str, schema: Schema) -> str:
    """Return one document's keys, folded away until they are wanted."""
    about = "".join(f"<p>{_text(text)}</p>" for text in schema.get("description", "").split("\n\n") if text)
    keys = _keys(schema) if schema.get("properties") else ""
    return f'<details id="{escape(name)}"><summary><code>{escape(name)}</code></summary>{about}{keys}</details>'


def _keys(schema: Schema) -> str:
    """Return a table of the keys of an object."""
    needed = schema.get("required", ())
    with_meaning = any("description" in key for key in schema["properties"].values())
    rows = "".join(
        f"<tr><td><code>{escape(name)}</code></td><td>{_kind(key)}</td>"
        f"<td>{'needed' if name in needed else _default(key)}</td>"
        + (f"<td>{_text(key.get('description', ''))}</td>" if with_meaning else "")
        + "</tr>"
        for name, key in schema["properties"].items()
    )
    meaning = "<th>meaning</th>" if with_meaning else ""
    return (
        f'<div class="wide"><table><tr><th>key</th><th>value</th><th>without it</th>{meaning}</tr>{rows}</table></div>'
    )


def _default(key: Schema) -> str:
    return f"<code>{escape(json.dumps(key['default'], ensure_ascii=False))}</code>" if "default" in key else ""


def _kind(key: Schema) -> str:
    """Return in words what a value may be."""
    if "$ref" in key:
        name = escape(_name(key["$ref"]))
        return f'<a href="#{name}">{name}</a>'
    if "anyOf" in key:
        return " or ".join(dict.fromkeys(map(_kind, key["anyOf"])))
    if "const" in key or "enum" in key:
        return " or ".join(f"<code>{escape(json.dumps(one))}</code>" for one in key.get("enum", [key.get("const")]))
    if key.get("type") == "array":
        of = key.get("items", {})
        return f"list of {_kind(of)}" if of else "list"
    words = {
        "integer": "whole number",
        "string": "text",
        "boolean": "true or false",
        "object": "object",
        "null": "null",
    }
    kind = words.get(key.get("type", ""), str(key.get("type", "any value")))
    limits = {"exclusiveMinimum": "above", "minimum": "at least", "maximum": "at most"}
    return ", ".join([kind, *(f"{said} {key[limit]:g}" for limit, said in limits.items() if limit in key)])


def _name(reference: str) -> str:
    return reference.rpartition("/")[2]


def _text(text: str) -> str:
    """Return a sentence with what stands in backticks as code."""
    return re.sub(r"`([^`]*)`", r"<code>\1</code>", escape(text))
