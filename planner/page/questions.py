"""What programs ask and what they are answered, as models: the OpenAPI document and the reference are made of them."""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from planner.advice.machines import Checked, Settled
from planner.errors import InputError
from planner.facts import Fact
from planner.page.job_inputs import PartAsked, PartText
from planner.sequencing.events import Prefer

USUAL_TIME: Final = 30.0
MOST_TIME: Final = 300.0


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
    """A line for each machine, as `bendorder check --json`.

    schema: name and number of this kind of document. verdict: what all lines come to, which is that of the exit code.
    lines: one for each part and machine.
    """

    schema_: Literal["bendorder-check/1"] = Field(alias="schema")
    verdict: Settled
    lines: tuple[Checked, ...]


class MachineLine(BaseModel):
    """A profile in a line.

    name: that it is asked for by. file: where it lies. about: what it can do, in a line.
    """

    name: str
    file: str
    about: str


class MachinesAnswer(BaseModel):
    """The machine profiles.

    schema: name and number of this kind of document. machines: a line for each.
    """

    schema_: Literal["bendorder-machines/1"] = Field(alias="schema")
    machines: tuple[MachineLine, ...]


class MachineAnswer(BaseModel):
    """One machine profile in full.

    schema: name and number of this kind of document. file: where it lies. machine: the profile with its file's keys
    [mm, degrees]. remarks: what looking it over found, each a sentence with what it knows. notes: what was assumed
    where it uses keys of before.
    """

    schema_: Literal["bendorder-machine/1"] = Field(alias="schema")
    file: str
    machine: dict[str, Any]
    remarks: list[dict[str, Any]]
    notes: list[str]


class ExampleLine(BaseModel):
    """An example in a line.

    name: that it is asked for by. about: what it shows.
    """

    name: str
    about: str


class ExamplesAnswer(BaseModel):
    """The examples.

    schema: name and number of this kind of document. examples: a line for each.
    """

    schema_: Literal["bendorder-examples/1"] = Field(alias="schema")
    examples: tuple[ExampleLine, ...]


class ExampleAnswer(BaseModel):
    """One example.

    schema: name and number of this kind of document. name: of the example. about: what it shows. part: its part as a
    document that can be sent back.
    """

    schema_: Literal["bendorder-example/1"] = Field(alias="schema")
    name: str
    about: str
    part: dict[str, Any]


class ErrorEvidence(BaseModel):
    """What is wrong; of bad input also where, what was found and what is allowed.

    kind: of error. message: the whole in one sentence. problem: what is wrong, without the place. file: path, or
    "command line". line: from 1. column: from 1. key: with dots between, as it stands in the file. row: of the shape's
    table, from 1. cell: name of the column there. found: the value that was found. allowed: what may stand there.
    suggestion: the nearest name that would do. fact: problem and allowed as facts.
    """

    kind: str
    message: str
    problem: str | None = None
    file: str | None = None
    line: int | None = None
    column: int | None = None
    key: str | None = None
    row: int | None = None
    cell: str | None = None
    found: Any = None
    allowed: str | None = None
    suggestion: str | None = None
    fact: dict[Literal["problem", "allowed"], Fact] | None = None


class ErrorAnswer(BaseModel):
    """An error, as the commands give it with `--json`.

    schema: name and number of this kind of document. error: what is wrong.
    """

    schema_: Literal["bendorder-error/1"] = Field(alias="schema")
    error: ErrorEvidence
