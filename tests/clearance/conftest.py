"""Machines of the clearance tests."""

import pytest

from planner.inputs.machine import Machine
from tests.clearance.machines import machine


@pytest.fixture(params=["right", "left"])
def head(request: pytest.FixtureRequest) -> str:
    """The way the head bends."""
    return str(request.param)


@pytest.fixture
def bare(head: str) -> Machine:
    """A machine of either head with nothing around its tooling."""
    return machine(head)
