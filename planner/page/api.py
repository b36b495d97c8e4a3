"""The API for programs, below /api/1: the same questions as the commands', the same documents as with `--json`.

A request reads no file of this computer: parts and machines come as documents or as text, machines also by the names
of profiles. What is wrong comes back as the error document of the commands. A client that leaves stops its job.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, Literal

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException

from planner.advice.answers import Why
from planner.advice.machines import Checked, Settled
from planner.errors import BendorderError, InputError, UnknownMachine
from planner.inputs.documents import dotted
from planner.inputs.files import load_machine, load_part
from planner.inputs.profiles import find_profile, list_profiles
from planner.lookover.look import look_over
from planner.lookover.remarks import as_data
from planner.outputs.check_page import check_document
from planner.outputs.documents import as_json, error_document, machine_document, machines_document
from planner.outputs.machine_page import in_one_line
from planner.page.asked import AllMachines, MachineAsked, MachineNamed, MachinesAsked, PartAsked, PartText
from planner.page.examples import ExamplePart, UnknownPart, example_part
from planner.page.jobs import Fault, Job, Overdue, Result, Stopped, TooBusy, Workers
from planner.page.settings import Settings
from planner.page.tasks import check_task, plan_task, why_task
from planner.plans.document import Plan
from planner.search.events import Prefer

USUAL_TIME: Final = 30.0
MOST_TIME: Final = 300.0

EXAMPLES, EXAMPLE = "bendorder-examples/1", "bendorder-example/1"

STATUS: Final[tuple[tuple[type[Exception], int], ...]] = (
    (UnknownMachine, 404),
    (UnknownPart, 404),
    (TooBusy, 503),
    (Overdue, 503),
    (Stopped, 409),
    (BendorderError, 422),
)
"""HTTP status of each error, the first that fits."""

ABOUT: Final = """Plans for a rotary-draw bender, on this computer alone or in the shop's network; nothing is stored.

Lengths are mm, angles degrees, times seconds in every answer. A verdict of "not makeable" or "undecided" is an answer,
not an error. The machine is never moved: what comes back is to be checked and carried out by people."""


class PartRequest(BaseModel):
    """A part, as a document or as the text of a part file."""

    model_config = ConfigDict(extra="forbid")

    part: dict[str, Any] | None = Field(None, description="The part as a document with a part file's keys.")
    part_text: str | None = Field(None, description="In its place: the text of a part file.")
    part_format: Literal["toml", "json"] = Field("toml", description="What that text is.")
    part_csv: str | None = Field(None, description="The text of the CSV file that `shape.file` of that text names.")
    time_limit: float = Field(
        USUAL_TIME, gt=0.0, le=MOST_TIME, description="Seconds after which what is known by then is answered."
    )

    def given(self) -> PartAsked:
        """Return the part as a job takes it; raises InputError unless it is there once."""
        if (self.part is None) == (self.part_text is None):
            found = "both are" if self.part is not None else "none is"
            raise InputError(f"{found} given", key="part", allowed="one of part and part_text")
        if self.part is None:
            return PartText(self.part_text or "", self.part_format, self.part_csv)
        if self.part_csv is not None:
            raise InputError("a document has its rows in it", key="part_csv", allowed="part_csv only with part_text")
        return self.part


class MachineRequest(PartRequest):
    """A part and the machine to make it on."""

    machine: str | dict[str, Any] | None = Field(
        None, description="The name of a profile, or a profile as a document; without it the part's own `machine`."
    )
    prefer: Prefer = Field("fewer re-clamps", description="What counts first.")


class PlanRequest(MachineRequest):
    """What to plan."""

    alternatives: bool = Field(False, description="Also the plans that are better in something else.")
    confirm: bool = Field(False, description="Let the other engine prove the result again.")
    changes: bool = Field(False, description="Of a part that is not makeable also what would make it so.")


class WhyRequest(MachineRequest):
    """What to say why of."""

    order: str | None = Field(None, description='An order to judge: bend number and leading end, as "3A 4A 2B 1B".')
    changes: bool = Field(True, description="Of a part that is not makeable also what would make it so.")


class CheckRequest(PartRequest):
    """What to check, on which machines."""

    machines: list[str | dict[str, Any]] | None = Field(
        None, min_length=1, max_length=50, description="Names of profiles, or profiles as documents; all without it."
    )


class CheckAnswer(BaseModel):
    """A line for each machine, as `bendorder check --json`."""

    schema_: Literal["bendorder-check/1"] = Field(alias="schema")
    verdict: Settled
    lines: tuple[Checked, ...]


class MachineLine(BaseModel):
    """A profile in a line."""

    name: str
    file: str
    about: str


class MachinesAnswer(BaseModel):
    """The machine profiles."""

    schema_: Literal["bendorder-machines/1"] = Field(alias="schema")
    machines: tuple[MachineLine, ...]


class MachineAnswer(BaseModel):
    """One machine profile in full."""

    schema_: Literal["bendorder-machine/1"] = Field(alias="schema")
    file: str
    machine: dict[str, Any]
    remarks: list[dict[str, Any]]
    notes: list[str]


class ExampleLine(BaseModel):
    """An example in a line."""

    name: str
    about: str


class ExamplesAnswer(BaseModel):
    """The examples."""

    schema_: Literal["bendorder-examples/1"] = Field(alias="schema")
    examples: tuple[ExampleLine, ...]


class ExampleAnswer(BaseModel):
    """One example: its part as a document that can be sent back."""

    schema_: Literal["bendorder-example/1"] = Field(alias="schema")
    name: str
    about: str
    part: dict[str, Any]


class ErrorEvidence(BaseModel):
    """What is wrong; of bad input also where, what was found and what is allowed."""

    kind: str
    message: str
    problem: str | None = None
    file: str | None = None
    line: int | None = None
    column: int | None = None
    key: str | None = None
    found: Any = None
    allowed: str | None = None
    suggestion: str | None = None


class ErrorAnswer(BaseModel):
    """An error, as the commands give it with `--json`."""

    schema_: Literal["bendorder-error/1"] = Field(alias="schema")
    error: ErrorEvidence


WRONG: Final[dict[int | str, dict[str, Any]]] = {
    404: {"model": ErrorAnswer, "description": "There is nothing of that name."},
    422: {"model": ErrorAnswer, "description": "The input cannot be used."},
}
NOT_DONE: Final[dict[int | str, dict[str, Any]]] = {
    409: {"model": ErrorAnswer, "description": "The job was stopped."},
    503: {"model": ErrorAnswer, "description": "Too many jobs wait, or the job did not end at its time limit."},
}


def build_api(workers: Workers, examples: tuple[ExamplePart, ...], settings: Settings) -> FastAPI:
    """Return the API as an application to be mounted at /api/1."""
    api = FastAPI(
        title="bendorder", version="1", description=ABOUT, openapi_url="/openapi.json", docs_url=None, redoc_url=None
    )
    _add_questions(api, workers, settings)
    _add_lists(api, examples, settings)
    for kind in (BendorderError, Fault, RequestValidationError, HTTPException, Exception):
        api.add_exception_handler(kind, _told)
    return api


def _add_questions(api: FastAPI, workers: Workers, settings: Settings) -> None:
    everything = AllMachines(settings.profiles)

    @api.post("/plan", response_model=Plan, responses={**WRONG, **NOT_DONE}, summary="Plan a part on a machine")
    async def plan(body: PlanRequest, request: Request) -> Response:
        """Return the plan document, as `bendorder plan --json`."""
        job = workers.submit(
            plan_task,
            body.given(),
            _machine(body.machine, settings),
            body.prefer,
            body.confirm,
            body.alternatives,
            everything if body.changes else None,
            time_limit=body.time_limit,
            key=_key(body),
        )
        return _json((await _answer(job, request)).to_json())

    @api.post(
        "/why", response_model=Why, responses={**WRONG, **NOT_DONE}, summary="Say why, judge an order, propose changes"
    )
    async def why(body: WhyRequest, request: Request) -> Response:
        """Return the answer, as `bendorder why --json`."""
        job = workers.submit(
            why_task,
            body.given(),
            _machine(body.machine, settings),
            body.order,
            body.prefer,
            everything if body.changes else None,
            time_limit=body.time_limit,
            key=_key(body),
        )
        return _json((await _answer(job, request)).to_json())

    @api.post(
        "/check",
        response_model=CheckAnswer,
        responses={**WRONG, **NOT_DONE},
        summary="Check a part on machines",
    )
    async def check(body: CheckRequest, request: Request) -> Response:
        """Return a line for each machine, as `bendorder check --json`; they share the time evenly."""
        machines: MachinesAsked = everything
        if body.machines is not None:
            machines = [_machine(machine, settings) for machine in body.machines]
        job = workers.submit(check_task, body.given(), machines, time_limit=body.time_limit, key=_key(body))
        lines = await _answer(job, request)
        return _json(as_json(check_document([lines])))


def _add_lists(api: FastAPI, examples: tuple[ExamplePart, ...], settings: Settings) -> None:
    @api.get("/machines", response_model=MachinesAnswer, summary="List the machine profiles")
    def machines() -> Response:
        """Return the profiles there are, as `bendorder machines --json`."""
        entries = [(found.name, found.path.name, _line_of(found.path)) for found in list_profiles(settings.profiles)]
        return _json(as_json(machines_document(entries)))

    @api.get("/machines/{name}", response_model=MachineAnswer, responses=WRONG, summary="Show a profile")
    def machine(name: str) -> Response:
        """Return one profile in full, as `bendorder machines NAME --json`."""
        path = find_profile(name, settings.profiles).path
        found = load_machine(path)
        remarks = [as_data(remark) for remark in look_over(found)]
        return _json(as_json(machine_document(found.normalised(), path.name, remarks, found.notes)))

    @api.get("/examples", response_model=ExamplesAnswer, summary="List the examples")
    def list_examples() -> Response:
        """Return the examples that come with the program."""
        entries = [{"name": example.name, "about": example.about} for example in examples]
        return _json(as_json({"schema": EXAMPLES, "examples": entries}))

    @api.get("/examples/{name}", response_model=ExampleAnswer, responses=WRONG, summary="Show an example")
    def show_example(name: str) -> Response:
        """Return the part of an example as a document, to be sent to the others."""
        found = example_part(name, examples)
        part = load_part(found.path).normalised()
        return _json(as_json({"schema": EXAMPLE, "name": found.name, "about": found.about, "part": part}))


def _machine(asked: str | Mapping[str, Any] | None, settings: Settings) -> MachineAsked:
    """Return the machine as a job takes it."""
    return asked if isinstance(asked, Mapping) else MachineNamed(asked, settings.profiles)


def _line_of(profile: Path) -> str:
    """Return a profile in a line, or what is wrong with it: one that is spoiled must not hide the others."""
    try:
        return in_one_line(load_machine(profile).normalised())
    except BendorderError as error:
        return f"cannot be used: {error}"


def _key(body: PartRequest) -> str:
    """Return what a job is about: the same part goes to the worker that knows it."""
    asked = json.dumps([body.part, body.part_text, body.part_csv], sort_keys=True)
    return hashlib.sha256(asked.encode()).hexdigest()


async def _answer(job: Job[Result], request: Request) -> Result:
    """Return a job's result; stop it if the client leaves."""
    done, gone = asyncio.ensure_future(job), asyncio.ensure_future(_left(request))
    try:
        await asyncio.wait({done, gone}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        gone.cancel()
        job.cancel()  # does nothing if it is done
    return await done


async def _left(request: Request) -> None:
    """Wait until the client has gone."""
    while (await request.receive())["type"] != "http.disconnect":
        pass


def _json(text: str, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    return Response(
        text, status, {"cache-control": "no-store", **(headers or {})}, media_type="application/json; charset=utf-8"
    )


async def nothing_there(_: Request) -> Response:
    """Answer for a path below /api that leads nowhere."""
    evidence = {"kind": _KINDS[404], "message": "there is nothing here: /api tells what there is"}
    return _json(as_json(error_document(evidence)), 404)


def _told(_: Request, error: Exception) -> Response:
    """Return an error as the commands' document."""
    if isinstance(error, RequestValidationError):
        return _told(_, _unfit(error))
    if isinstance(error, HTTPException):
        evidence, status = (
            {"kind": _KINDS.get(error.status_code, "HTTPError"), "message": str(error.detail)},
            error.status_code,
        )
        return _json(as_json(error_document(evidence)), status, error.headers)
    if isinstance(error, Fault):
        print(error.trace or error, file=sys.stderr)
        return _json(as_json(error_document(error.as_dict())), 500)
    if not isinstance(error, BendorderError):  # the server tells where it happened
        return _told(_, Fault(f"{type(error).__name__}: {error}"))
    status = next(status for kind, status in STATUS if isinstance(error, kind))
    return _json(as_json(error_document(error.as_dict())), status, {"retry-after": "5"} if status == 503 else None)


_KINDS: Final = {404: "NotFound", 405: "MethodNotAllowed"}


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
