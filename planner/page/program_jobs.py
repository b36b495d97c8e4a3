"""What the jobs of programs give: each task's document as text, so that the server only has to pass it on."""

from __future__ import annotations

from typing import Any

from planner.outputs.check_page import check_document
from planner.outputs.documents import as_json
from planner.page.tasks import check_task, plan_task, why_task


def plan_answer(*asked: Any, **how: Any) -> str:
    """Return the plan document; arguments as `tasks.plan_task`."""
    return plan_task(*asked, **how).to_json()


def why_answer(*asked: Any, **how: Any) -> str:
    """Return the document that says why; arguments as `tasks.why_task`."""
    return why_task(*asked, **how).to_json()


def check_answer(*asked: Any, **how: Any) -> str:
    """Return the document of a check; arguments as `tasks.check_task`."""
    return as_json(check_document([check_task(*asked, **how)]))
