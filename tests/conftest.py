"""Settings of all tests: the same answers in every run, and larger campaigns on request."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "ci", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("campaign", settings.get_profile("ci"), max_examples=3000)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--campaign", action="store_true", help="run random tests on many more cases (minutes)")


def pytest_configure(config: pytest.Config) -> None:
    settings.load_profile("campaign" if config.getoption("--campaign") else "ci")


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
