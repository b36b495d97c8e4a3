"""Everything that is for programs: the API with its reference, and whether the server is well."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Final

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route

from planner.outputs.documents import as_json
from planner.page.api import build_api
from planner.page.error_responses import ForPrograms, json_answer, nothing_there
from planner.page.examples import ExamplePart
from planner.page.jobs import Workers
from planner.page.reference import reference_of
from planner.page.settings import HEALTH, Settings

SCHEMA: Final = "bendorder-health/1"


def routes_for_programs(workers: Workers, examples: tuple[ExamplePart, ...], settings: Settings) -> list[BaseRoute]:
    """Return the routes, to stand before those of pages."""
    api = build_api(workers, examples, settings)
    return [
        Mount("/api/1", api),
        Route("/api", ForPrograms(reference_of(api, settings), "GET", "HEAD")),
        Route("/api/{rest:path}", ForPrograms(nothing_there)),
        Route(HEALTH, ForPrograms(health_of(workers), "GET", "HEAD")),
    ]


def health_of(workers: Workers) -> Callable[[Request], Awaitable[Response]]:
    """Return what answers how busy the workers are: counts, and how long a new job would wait about [s]."""

    async def health(_: Request) -> Response:
        document = {
            "schema": SCHEMA,
            "workers": len(workers.processes),
            "under_way": workers.under_way,
            "waiting": workers.waiting,
            "wait": round(workers.wait, 1),
        }
        return json_answer(as_json(document))

    return health
