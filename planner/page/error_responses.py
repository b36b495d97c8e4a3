"""Errors as the API tells them: the commands' documents, each with its HTTP status, and when which is answered."""

from __future__ import annotations

import sys
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.types import Receive, Scope, Send

from planner.errors import BendorderError, InputError, UnknownMachine
from planner.inputs.documents import dotted
from planner.outputs.documents import as_json, error_document
from planner.page.connections import HEAD_BY, LONGEST_HEAD, WHOLE_BY
from planner.page.examples import UnknownPart
from planner.page.jobs import Overdue, Stopped
from planner.page.questions import ErrorAnswer
from planner.page.settings import LARGEST_BODY
from planner.page.turns import TooBusy, TooMany
from planner.page.worker import Fault

STATUS: Final[tuple[tuple[type[Exception], int], ...]] = (
    (UnknownMachine, 404),
    (UnknownPart, 404),
    (TooMany, 429),
    (TooBusy, 503),
    (Overdue, 503),
    (Stopped, 409),
    (BendorderError, 422),
)
"""HTTP status of each error, the first that fits."""

AGAIN: Final = 5
"""Seconds after which to try again where nothing else is known."""

Answers = dict[int | str, dict[str, Any]]


def _told_when(when: Mapping[int, str]) -> Answers:
    return {status: {"model": ErrorAnswer, "description": told} for status, told in when.items()}


EVERYWHERE: Final = _told_when(
    {
        400: "The path has control characters. In plain text: it is no HTTP, or its head is larger than "
        f"{LONGEST_HEAD // 1024} KB.",
        401: "The token is missing or wrong.",
        403: "The request comes from another page than this computer's.",
        405: "The path is asked with another method.",
        408: f"The request did not come in time: its head in {HEAD_BY:g} s, its body in {WHOLE_BY:g} s. In plain text.",
        413: f"The body is larger than {LARGEST_BODY // 1_000_000} MB.",
        421: "This computer is not called by that name.",
        500: "A fault of bendorder itself.",
    }
)
"""What any request may be answered with; most of it before it is looked at."""

WRONG: Final = _told_when({404: "There is nothing of that name.", 422: "The input cannot be used."})

NOT_DONE: Final = _told_when(
    {
        409: "The job was stopped.",
        429: "As many of your jobs wait as may: `retry-after` says in how many seconds to try again.",
        503: "Too many jobs wait, or the job did not end at its time limit: `retry-after` as above.",
    }
)

_KINDS: Final = {404: "NotFound", 405: "MethodNotAllowed"}


def json_answer(text: str, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """Return a document as an answer that nobody keeps."""
    return Response(
        text, status, {"cache-control": "no-store", **(headers or {})}, media_type="application/json; charset=utf-8"
    )


class ForPrograms:
    """An ASGI application that answers any method, but for those that are not `allowed` with 405."""

    def __init__(self, answer: Callable[[Request], Awaitable[Response]], *allowed: str) -> None:
        self._answer, self._allowed = answer, allowed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        request = Request(scope, receive)
        if self._allowed and request.method not in self._allowed:
            response = told(request, HTTPException(405, headers={"allow": ", ".join(self._allowed)}))
        else:
            response = await self._answer(request)
        await response(scope, receive, send)


async def nothing_there(_: Request) -> Response:
    """Answer for a path below /api that leads nowhere."""
    evidence = {"kind": _KINDS[404], "message": "there is nothing here: /api tells what there is"}
    return json_answer(as_json(error_document(evidence)), 404)


def told(_: Request, error: Exception) -> Response:
    """Return an error as the commands' document."""
    if isinstance(error, RequestValidationError):
        return told(_, _unfit(error))
    if isinstance(error, HTTPException):
        evidence, status = (
            {"kind": _KINDS.get(error.status_code, "HTTPError"), "message": str(error.detail)},
            error.status_code,
        )
        return json_answer(as_json(error_document(evidence)), status, error.headers)
    if isinstance(error, Fault):
        print(error.trace or error, file=sys.stderr)
        return json_answer(as_json(error_document(error.as_dict())), 500)
    if not isinstance(error, BendorderError):  # the server tells where it happened
        return told(_, Fault(f"{type(error).__name__}: {error}"))
    status = next(status for kind, status in STATUS if isinstance(error, kind))
    again = error.seconds if isinstance(error, TooBusy) else AGAIN
    headers = {"retry-after": str(again)} if status in (429, 503) else None
    return json_answer(as_json(error_document(error.as_dict())), status, headers)


def _unfit(error: RequestValidationError) -> InputError:
    """Return the first thing that is wrong with a request's body as bad input."""
    first = error.errors()[0]
    place = tuple(step for step in first["loc"] if step != "body")
    sort, found = first["type"], first.get("input")
    if sort == "json_invalid":
        return InputError("the request is no JSON", file="request", found=None, allowed="one JSON object")
    allowed = {"extra_forbidden": "the keys that the reference lists", "missing": "a value"}
    return InputError(
        "the key is not known" if sort == "extra_forbidden" else "it cannot be used here",
        file="request",
        key=dotted(place) or None,
        found=found if isinstance(found, str | int | float | bool) else None,
        allowed=allowed.get(sort, _small(first["msg"])),
    )


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
