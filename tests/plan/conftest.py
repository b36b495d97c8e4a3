"""The planned parts, once for all tests of the folder."""

from __future__ import annotations

import pytest

from tests.plan.planned import Planned, all_planned


@pytest.fixture(scope="session")
def plans() -> list[Planned]:
    """Some fifty random parts planned on benders of every kind."""
    return list(all_planned())
