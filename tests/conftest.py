"""Settings of all tests: the same answers in every run, and larger campaigns on request."""

from __future__ import annotations

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

LONGEST = (
    "audit/test_audit_covers.py",
    "page/test_page.py",
    "plan/test_against_brute_force.py",
    "plan/test_plan_clearances.py",
    "advice/test_changes.py",
    "audit/test_audit_no_goods.py",
    "plan/test_limits.py",
    "page/test_trial_shots.py",
    "plan/test_laws.py",
    "test_examples.py",
    "clearance/test_plane.py",
    "command/test_check_command.py",
    "plan/test_replay.py",
    "page/test_load.py",
    "plan/test_ways_home_by_turns.py",
    "page/test_api.py",
    "search/test_engines.py",
    "advice/test_order.py",
    "advice/test_machines.py",
    "advice/test_why.py",
    "plan/test_shipped_benders.py",
    "outside/test_clearance_motions.py",
    "audit/test_audit_claim.py",
    "page/test_view.py",
)
"""The files that take longest: begun first, so that no process has one of them left when the others have nothing."""

TOGETHER = (
    ("audit/test_audit_no_goods.py", "audit/test_audit_strikes.py", "audit/test_audit_walls.py"),
    ("audit/test_audit_covers.py", "audit/test_tampering.py"),
    ("audit/test_audit_ways_home.py", "audit/test_ways_home_made_wrong.py"),
    ("plan/test_replay.py", "plan/test_step_list.py", "plan/test_verdicts.py"),
)
"""Files that look at the same plans: in one process those are made once."""

settings.register_profile(
    "ci", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("campaign", settings.get_profile("ci"), max_examples=3000)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--campaign", action="store_true", help="run random tests on many more cases (minutes)")


def pytest_configure(config: pytest.Config) -> None:
    settings.load_profile("campaign" if config.getoption("--campaign") else "ci")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, otherwise as they were found."""
    rank = {f"tests/{file}": number for number, file in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(rank)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Files are given out whole, and those that look at the same plans to one process."""
    if config.getvalue("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    first = {f"tests/{file}": f"tests/{files[0]}" for files in TOGETHER for file in files}

    class FilesTogether(LoadFileScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            file: str = super()._split_scope(nodeid)
            return first.get(file, file)

    return FilesTogether(config, log)


@pytest.fixture(scope="session")
def campaign(request: pytest.FixtureRequest) -> bool:
    """Whether a large campaign was asked for."""
    return bool(request.config.getoption("--campaign"))


@pytest.fixture(autouse=True)
def _no_profiles_of_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Keep the tests off whatever profiles this computer's user has."""
    monkeypatch.delenv("BENDORDER_PROFILES", raising=False)
    empty = tmp_path_factory.getbasetemp() / "no configuration"
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME", "USERPROFILE"):
        monkeypatch.setenv(name, os.fspath(empty))
