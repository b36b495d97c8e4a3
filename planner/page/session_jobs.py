"""What the page has reckoned for a session: the plan first, then what is asked about it, each as soon as it is there.

Every job runs in a process of its own with a time limit and can be stopped. What comes back after part or machine have
been changed meanwhile is dropped.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

from planner.advice.notation import written
from planner.errors import BendorderError
from planner.page import tasks
from planner.page.examples import ExamplePart
from planner.page.job_inputs import AllMachines
from planner.page.jobs import Job, Stopped, Workers
from planner.page.session import Beside, Session, TriedOrder, Work, plain_order
from planner.page.trial_shots import tried_task
from planner.page.worker import Fault
from planner.plans.document import Plan

Result = TypeVar("Result")
Here = tuple[dict[str, Any], dict[str, Any]]
"""The documents of part and machine that a job is about."""

FOR_WHY: Final = 60.0
"""Time limit of reasons, changes, the other engine and the audit [s]."""


@dataclass(frozen=True)
class ShopFolders:
    """What all sessions share: the worker processes, the examples, the folders of profiles and of what is saved."""

    workers: Workers
    examples: tuple[ExamplePart, ...]
    profiles: Path | None
    folder: Path


class SessionJobs:
    """Has jobs done for one session."""

    def __init__(self, session: Session, shop: ShopFolders) -> None:
        self.session, self.shop = session, shop
        self.asked: set[asyncio.Task[None]] = set()

    async def plan(self, part: dict[str, Any], machine: dict[str, Any]) -> None:
        """Plan a part (a part file's keys) on a machine; then let the result be confirmed and explained."""
        session = self.session
        session.begin_anew()
        session.planned_part, session.planned_machine = part, machine
        session.changed("plan")
        here = (part, machine)
        limit = session.time_limit
        made = await self._refusable("planning", tasks.plan_task, part, machine, session.prefer, time_limit=limit)
        if not self._still(here):
            return
        if made is not None:
            session.made = made
            if session.exercise is None:
                session.order = list(made.order) or plain_order(len(made.part["shape"]["lra"]) - 1, "A")
        session.changed("plan")
        if made is not None:
            for about in (self._explain(here, made), self._confirm(here, made)):
                task = asyncio.create_task(about)
                self.asked.add(task)  # the loop itself does not keep it
                task.add_done_callback(self.asked.discard)

    async def try_order(self) -> None:
        """Judge the own order, step by step."""
        session = self.session
        if session.planned_part is None or session.planned_machine is None or not session.order:
            return
        here, order = (session.planned_part, session.planned_machine), list(session.order)
        session.tried = session.tried_refused = None
        try:
            found = await self._done(
                "trying the order", tried_task, *here, written(order), session.prefer, time_limit=30.0
            )
        except Stopped:
            return
        except (BendorderError, Fault) as error:
            session.tried_refused = error
        else:
            if self._still(here) and session.order == order:
                session.tried = TriedOrder(found["tried"], found["film"], found["marks"], found["captions"])
        session.changed("tried")

    async def plan_beside(self, name: str, machine: dict[str, Any], prefer: str) -> None:
        """Plan the same part otherwise, to stand beside the plan."""
        session, part = self.session, self.session.planned_part
        if part is None:
            return
        session.beside = beside = Beside(name)
        session.changed("pair")
        try:
            beside.made = await self._done(
                "planning what stands beside", tasks.plan_task, part, machine, prefer, time_limit=session.time_limit
            )
        except (BendorderError, Fault) as error:
            beside.refused = error
        session.changed("pair")

    # ---------------------------------------------------------------------------------- one job

    async def _done(self, doing: str, task: Callable[..., Result], *arguments: Any, time_limit: float) -> Result:
        """Return what a job gives; it stands in the session while it is under way."""
        session = self.session
        work = Work(doing)

        def report(sentence: str) -> None:
            work.told = sentence
            session.changed("progress")

        job: Job[Result] = self.shop.workers.submit(
            task, *arguments, time_limit=time_limit, report=report, key=self._key(arguments), client=id(session)
        )
        work.cancel = job.cancel
        session.work.append(work)
        session.changed("progress")
        try:
            return await job
        finally:
            session.work.remove(work)
            session.changed("progress")

    def _key(self, arguments: tuple[Any, ...]) -> int:
        """Return what the worker that knows the part and machine is found by."""
        return hash(repr(arguments[:2]))

    async def _refusable(
        self, doing: str, task: Callable[..., Plan], *arguments: Any, time_limit: float
    ) -> Plan | None:
        """Return a plan, or None with the reason why there is none in the session."""
        try:
            return await self._done(doing, task, *arguments, time_limit=time_limit)
        except (BendorderError, Fault) as error:
            if not isinstance(error, Stopped) or self._still(arguments[:2]):
                self.session.refused = error
            return None

    def _still(self, here: tuple[Any, ...]) -> bool:
        """Say whether part and machine are still those that a job was about."""
        return (self.session.planned_part, self.session.planned_machine) == tuple(here)

    # ---------------------------------------------------------------------------------- about a plan

    async def _explain(self, here: Here, made: Plan) -> None:
        """Have it said why, and what would help."""
        session = self.session
        others = None if made.verdict == "makeable" else AllMachines(self.shop.profiles)
        try:
            why = await self._done(
                "finding the reasons", tasks.why_task, *here, None, session.prefer, others, time_limit=FOR_WHY
            )
        except (BendorderError, Fault):
            return
        if self._still(here):
            session.why = why
            session.changed("why")

    async def _confirm(self, here: Here, made: Plan) -> None:
        """Have the other engine prove the result again, then the auditor go through its proof."""
        session = self.session
        if made.verdict == "undecided":
            return
        session.seconded = "under way"
        session.changed("plan")
        seconded = await self._stage("asking the other engine", tasks.second_task, here)
        if not self._still(here):
            return
        agree = None if seconded is None else seconded.confirmed
        session.seconded = "not settled" if agree is None else "yes" if agree else "no"
        session.audited = "under way"
        session.changed("plan")
        audited = await self._stage("auditing the proof", tasks.audit_task, here)
        if not self._still(here):
            return
        session.audited = "not settled" if audited is None else "yes" if audited.confirmed else "no"
        session.audit_says = "" if audited is None or audited.confirmed else audited.sentence
        session.changed("plan")

    async def _stage(self, doing: str, task: Callable[..., Result], here: Here) -> Result | None:
        """Return what a stage says of a plan, None where it came to no end."""
        try:
            return await self._done(doing, task, *here, self.session.prefer, time_limit=FOR_WHY)
        except (BendorderError, Fault):
            return None
