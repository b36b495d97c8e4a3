"""The tasks under "Working" in DEVELOPERS.md, each in an environment of its own that is kept.

`nox -l` lists them, `nox -s lint` runs one; what follows `--` is passed on, as in `nox -s tests -- tests/tube`.
"""

from __future__ import annotations

from pathlib import Path

import nox

nox.options.sessions = ["lint", "types", "tests"]
nox.options.reuse_venv = "yes"


def with_tests(session: nox.Session) -> None:
    """Install the project, as it lies here, with what the tests need."""
    session.install("-q", "-e", ".[test]")


@nox.session
def lint(session: nox.Session) -> None:
    """Look for slips and for what is not formatted."""
    session.install("-q", "ruff")
    session.run("ruff", "check", ".")
    session.run("ruff", "format", "--check", ".")


@nox.session
def types(session: nox.Session) -> None:
    """Check the program's types."""
    with_tests(session)
    session.run("mypy")


@nox.session
def tests(session: nox.Session) -> None:
    """Run the tests."""
    with_tests(session)
    session.run("python", "-m", "pytest", "-q", *session.posargs)


@nox.session
def campaign(session: nox.Session) -> None:
    """Run random tests on many more cases: name the files, for all of them take hours."""
    with_tests(session)
    options = ("-o", "addopts=--import-mode=importlib", "--campaign", "-s")
    session.run("python", "-m", "pytest", "-q", *options, *session.posargs)


@nox.session
def benchmarks(session: nox.Session) -> None:
    """Measure how fast it is."""
    with_tests(session)
    options = ("-o", "addopts=--import-mode=importlib", "-s")
    session.run("python", "-m", "pytest", *options, *(session.posargs or ["tests/benchmarks"]))


@nox.session
def corpus(session: nox.Session) -> None:
    """Make the corpus of documents, or compare two: `nox -s corpus -- make FOLDER`."""
    with_tests(session)
    session.run("python", "-m", "tests.corpus", *session.posargs)


@nox.session
def pictures(session: nox.Session) -> None:
    """Take the README's pictures anew; needs Chromium."""
    with_tests(session)
    session.run("python", "-m", "tests.page.pictures", *(session.posargs or ["--readme", "docs/page"]))


@nox.session
def docs(session: nox.Session) -> None:
    """Build the documentation site into `site/`, and look for addresses outside it."""
    session.install("-q", "-e", ".[docs]")
    session.run("python", "-m", "mkdocs", "build", "--strict", *session.posargs)
    session.run("python", "-m", "docs.making.outside", "site")


@nox.session
def wheel(session: nox.Session) -> None:
    """Build the wheel and plan an example with it, installed with nothing else."""
    session.install("-q", "build")
    session.run("python", "-m", "build", "-q", "--wheel", "--outdir", "dist")
    newest = max(Path("dist").glob("*.whl"), key=lambda built: built.stat().st_mtime)
    session.install("-q", "--force-reinstall", str(newest))
    example = Path("examples/cargo-bike-rack.toml").resolve()
    session.chdir(session.create_tmp())  # so that what was installed is run, not what lies here
    session.run("bendorder", "plan", str(example), silent=True)


@nox.session
def lists(session: nox.Session) -> None:
    """Make the lists with hashes anew: what is tested, and the lowest versions."""
    session.install("-q", "uv")
    compile_ = (
        "uv",
        "pip",
        "compile",
        "-q",
        "pyproject.toml",
        "--generate-hashes",
        "--no-header",
        "--python-version",
        "3.11",
    )
    session.run(*compile_, "-o", "requirements/run.txt")
    session.run(*compile_, "--resolution", "lowest-direct", "-o", "requirements/lowest.txt")
    session.run(*compile_, "--extra", "page", "--extra", "test", "-o", "requirements/test.txt")
    session.run(*compile_, "--extra", "docs", "-o", "requirements/docs.txt")
