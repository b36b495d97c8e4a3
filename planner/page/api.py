"""The API for programs, below /api/1: the same questions as the commands', the same documents as with `--json`.

A request reads no file of this computer: parts and machines come as documents or as text, machines also by the names
of profiles. What is wrong comes back as the error document of the commands. A client that leaves stops its job, unless
others have asked the same.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
from collections.abc import Callable, Coroutine, Mapping
from pathlib import Path
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from planner.advice.answers import Why
from planner.errors import BendorderError
from planner.inputs.documents import json_document
from planner.inputs.files import load_machine, load_part
from planner.inputs.profiles import find_profile, list_profiles
from planner.inputs.reading import text_of
from planner.lookover.look import look_over
from planner.lookover.remarks import as_data
from planner.outputs.documents import as_json, machine_document, machines_document
from planner.outputs.machine_page import in_one_line
from planner.page.error_responses import EVERYWHERE, NOT_DONE, WRONG, json_answer, told
from planner.page.examples import ExamplePart, example_part
from planner.page.job_inputs import AllMachines, MachineAsked, MachineNamed, MachinesAsked
from planner.page.jobs import Stopped, Workers
from planner.page.program_jobs import check_answer, plan_answer, why_answer
from planner.page.questions import (
    CheckAnswer,
    CheckRequest,
    ExampleAnswer,
    ExamplesAnswer,
    MachineAnswer,
    MachinesAnswer,
    PartRequest,
    PlanRequest,
    WhyRequest,
)
from planner.page.results import Answers, Share
from planner.page.settings import Settings
from planner.page.worker import Fault
from planner.plans.document import Plan
from planner.wording.say import say

EXAMPLES, EXAMPLE = "bendorder-examples/1", "bendorder-example/1"

ABOUT: Final = """Plans for a rotary-draw bender, on this computer alone or in the shop's network; nothing is stored.

Lengths are mm, angles degrees, times seconds in every answer. A verdict of "not makeable" or "undecided" is an answer,
not an error. The machine is never moved: what comes back is to be checked and carried out by people."""


class ReadableFirst(APIRoute):
    """A question whose body is read as carefully as a part file before anything is made of it."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return what answers a request."""
        answer = super().get_route_handler()

        async def read_and_answer(request: Request) -> Response:
            try:
                body = await request.body()
            except ClientDisconnect:
                raise Stopped("the client has left") from None
            if body:
                json_document(text_of(body, "the request", "request"), "request")
            return await answer(request)

        return read_and_answer


def build_api(workers: Workers, examples: tuple[ExamplePart, ...], settings: Settings) -> FastAPI:
    """Return the API as an application to be mounted at /api/1."""
    api = FastAPI(
        title="bendorder",
        version="1",
        description=ABOUT,
        openapi_url="/openapi.json",
        docs_url=None,
        redoc_url=None,
        responses=EVERYWHERE,
    )
    api.router.route_class = ReadableFirst
    _add_questions(api, Asking(workers, settings))
    _add_lists(api, examples, settings)
    for kind in (BendorderError, Fault, RequestValidationError, HTTPException, Exception):
        api.add_exception_handler(kind, told)
    return api


class Asking:
    """Has the workers answer questions; those that were asked before, or are being asked, are answered once."""

    def __init__(self, workers: Workers, settings: Settings) -> None:
        self._workers, self._settings = workers, settings
        self._answers = Answers()
        self.everything = AllMachines(settings.profiles)

    def machine(self, asked: str | Mapping[str, Any] | None) -> MachineAsked:
        """Return the machine as a job takes it."""
        return asked if isinstance(asked, Mapping) else MachineNamed(asked, self._settings.profiles)

    async def answer(self, task: Callable[..., str], body: PartRequest, request: Request, *arguments: Any) -> Response:
        """Return what a task says of a request's part and the other arguments."""
        part = body.given()
        asked = self._digest(f"{task.__module__}.{task.__qualname__}", body.model_dump_json(), self._profiles())
        text = self._answers.kept(asked)
        if text is None:
            share = self._answers.ask(
                asked,
                lambda: self._workers.submit(
                    task, part, *arguments, time_limit=body.time_limit, key=_about(body), client=_client(request)
                ),
            )
            text = await _shared(share, request)
        return json_answer(text)

    def _profiles(self) -> str:
        """Return what changes when a profile is changed: an answer may hang on any of them."""
        return repr([_as_it_stands(profile.path) for profile in list_profiles(self._settings.profiles)])

    @staticmethod
    def _digest(*asked: str) -> str:
        return hashlib.sha256("\0".join(asked).encode()).hexdigest()


def _add_questions(api: FastAPI, asking: Asking) -> None:
    may_be = {**WRONG, **NOT_DONE}

    @api.post("/plan", response_model=Plan, responses=may_be, summary="Plan a part on a machine")
    async def plan(body: PlanRequest, request: Request) -> Response:
        """Return the plan document, as `bendorder plan --json`."""
        others = asking.everything if body.changes else None
        machine = asking.machine(body.machine)
        return await asking.answer(
            plan_answer, body, request, machine, body.prefer, body.confirm, body.alternatives, others
        )

    @api.post("/why", response_model=Why, responses=may_be, summary="Say why, judge an order, propose changes")
    async def why(body: WhyRequest, request: Request) -> Response:
        """Return the answer, as `bendorder why --json`."""
        others = asking.everything if body.changes else None
        return await asking.answer(
            why_answer, body, request, asking.machine(body.machine), body.order, body.prefer, others
        )

    @api.post("/check", response_model=CheckAnswer, responses=may_be, summary="Check a part on machines")
    async def check(body: CheckRequest, request: Request) -> Response:
        """Return a line for each machine, as `bendorder check --json`; they share the time evenly."""
        machines: MachinesAsked = asking.everything
        if body.machines is not None:
            machines = [asking.machine(machine) for machine in body.machines]
        return await asking.answer(check_answer, body, request, machines)


def _add_lists(api: FastAPI, examples: tuple[ExamplePart, ...], settings: Settings) -> None:
    @api.get("/machines", response_model=MachinesAnswer, summary="List the machine profiles")
    def machines() -> Response:
        """Return the profiles there are, as `bendorder machines --json`."""
        entries = [(found.name, found.path.name, _line_of(found.path)) for found in list_profiles(settings.profiles)]
        return json_answer(as_json(machines_document(entries)))

    @api.get("/machines/{name}", response_model=MachineAnswer, responses=WRONG, summary="Show a profile")
    def machine(name: str) -> Response:
        """Return one profile in full, as `bendorder machines NAME --json`."""
        path = find_profile(name, settings.profiles).path
        found = load_machine(path)
        remarks = [as_data(remark) for remark in look_over(found)]
        notes = [say(note) for note in found.notes]
        return json_answer(as_json(machine_document(found.normalised(), path.name, remarks, notes)))

    @api.get("/examples", response_model=ExamplesAnswer, summary="List the examples")
    def list_examples() -> Response:
        """Return the examples that come with the program."""
        entries = [{"name": example.name, "about": example.about} for example in examples]
        return json_answer(as_json({"schema": EXAMPLES, "examples": entries}))

    @api.get("/examples/{name}", response_model=ExampleAnswer, responses=WRONG, summary="Show an example")
    def show_example(name: str) -> Response:
        """Return the part of an example as a document, to be sent to the others."""
        found = example_part(name, examples)
        part = load_part(found.path).normalised()
        return json_answer(as_json({"schema": EXAMPLE, "name": found.name, "about": found.about, "part": part}))


def _as_it_stands(profile: Path) -> tuple[str, int, int]:
    """Return what changes with a file; one that is gone, as a link may lead nowhere, has no time and no size."""
    try:
        stat = profile.stat()
    except OSError:
        return str(profile), 0, 0
    return str(profile), stat.st_mtime_ns, stat.st_size


def _line_of(profile: Path) -> str:
    """Return a profile in a line, or what is wrong with it: one that is spoiled must not hide the others."""
    try:
        return in_one_line(load_machine(profile).normalised())
    except BendorderError as error:
        return f"cannot be used: {error}"


def _about(body: PartRequest) -> str:
    """Return what a job is about: the same part goes to the worker that knows it."""
    asked = json.dumps([body.part, body.part_text, body.part_csv], sort_keys=True)
    return hashlib.sha256(asked.encode()).hexdigest()


def _client(request: Request) -> str:
    """Return who asks: all programs of a computer count as one."""
    return "" if request.client is None else request.client.host


async def _shared(share: Share, request: Request) -> str:
    """Return a shared job's result; give up the share if the client leaves."""
    done, gone = asyncio.ensure_future(share.text()), asyncio.ensure_future(_left(request))
    try:
        await asyncio.wait({done, gone}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        gone.cancel()
        share.leave()
        left = not done.done()
        if left:
            done.cancel()
    if left:
        raise Stopped("the client has left")
    return done.result()


async def _left(request: Request) -> None:
    """Wait until the client has gone."""
    while (await request.receive())["type"] != "http.disconnect":
        pass
