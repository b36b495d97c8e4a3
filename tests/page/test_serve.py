"""`bendorder serve` as a process: how soon it answers, whom it answers, how it ends, and what it refuses."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from planner.command import run
from planner.errors import InputError
from planner.page.examples import example_parts, packaged_folder
from planner.page.server import listen
from planner.page.settings import SHORTEST_TOKEN, Settings, is_loopback, token_for
from tests.processes import PATIENCE, ROOT, wait_until_gone

AIMED_AT = 3.0
"""From the start of the command to the first plan, on a shop computer of today [s]; told here, not asserted."""


@dataclass
class Served:
    """A running server: where it is, and when it was started."""

    process: subprocess.Popen[str]
    url: str
    began: float

    @property
    def port(self) -> int:
        return int(re.findall(r":(\d+)/", self.url)[0])

    def end(self, by: signal.Signals) -> tuple[int, str, str]:
        """Send a signal; return the exit code and what was written."""
        self.process.send_signal(by)
        out, err = self.process.communicate(timeout=PATIENCE)
        return self.process.returncode, out, err


@contextmanager
def served(*options: str, folder: Path) -> Iterator[Served]:
    """Run the command in a folder, as a shell would."""
    began = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-m", "planner", "serve", "--port", "0", "--no-browser", *options],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder, start_new_session=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:  # fmt: skip
        try:
            assert process.stdout is not None
            url = process.stdout.readline().strip()
            assert url.startswith("http://"), process.communicate(timeout=PATIENCE)
            yield Served(process, url, began)
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)


def processes_of(parent: int) -> set[int]:
    """The processes that a process started and that run (Linux tells)."""
    found = Path(f"/proc/{parent}/task/{parent}/children")
    return {int(word) for word in found.read_text(encoding="ascii").split()} if found.exists() else set()


@contextmanager
def connected(port: int, request: str, body: bytes = b"") -> Iterator[int]:
    """Send a request as it is written; give the status, and keep the connection as long as that is wanted."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection:
        connection.sendall(request.replace("\n", "\r\n").encode() + body)
        with connection.makefile("rb") as answer:
            yield int(answer.readline().split()[1])


def status_of(port: int, request: str, body: bytes = b"") -> int:
    with connected(port, request, body) as status:
        return status


def handshake(port: int, origin: str) -> str:
    return (
        f"GET /_nicegui_ws/socket.io/?EIO=4&transport=websocket HTTP/1.1\nHost: 127.0.0.1:{port}\nOrigin: {origin}\n"
        "Connection: Upgrade\nUpgrade: websocket\nSec-WebSocket-Version: 13\n"
        "Sec-WebSocket-Key: dG93cGF0aCBiZW5kZXIhIQ==\n\n"
    )


def test_it_answers_soon_plans_an_example_refuses_others_and_ends_quietly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with served(folder=tmp_path) as server:
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/", server.url)
        front = httpx.get(server.url, timeout=PATIENCE)
        answered = time.perf_counter() - server.began
        part = httpx.get(f"{server.url}api/1/examples/lockside-rail", timeout=PATIENCE).json()["part"]
        made = httpx.post(f"{server.url}api/1/plan", json={"part": part}, timeout=PATIENCE)
        planned = time.perf_counter() - server.began
        with capsys.disabled():
            print(f"\n  first page after {answered:.2f} s, first plan after {planned:.2f} s (aimed at: {AIMED_AT:g} s)")
        assert front.status_code == 200
        assert made.json()["verdict"] == "makeable"
        addresses = set(re.findall(r"(?:https?:)?//[\w.-]+\.[a-z]{2,}", front.text)) - {"http://www.w3.org"}
        assert not addresses, "nothing is fetched from elsewhere"

        here = f"http://127.0.0.1:{server.port}"
        assert status_of(server.port, f"GET / HTTP/1.1\nHost: evil.example:{server.port}\n\n") == 421
        assert status_of(server.port, handshake(server.port, "http://evil.example")) == 403
        chunk = b"%x\r\n%s\r\n" % (65536, b"x" * 65536)
        head = f"POST /api/1/plan HTTP/1.1\nHost: 127.0.0.1:{server.port}\nTransfer-Encoding: chunked\n\n"
        assert status_of(server.port, head, chunk * 16) == 413
        assert httpx.get(f"{server.url}api", timeout=PATIENCE).status_code == 200, "it still answers"

        workers = processes_of(server.process.pid)
        with connected(server.port, handshake(server.port, here)) as status:
            assert status == 101
            # An open page does not hold it up: the connection is kept until after the end.
            assert server.end(signal.SIGINT) == (0, "", "Ctrl-C ends it.\n")
        wait_until_gone(workers)
    assert list(tmp_path.iterdir()) == [], "nothing is written"


def test_to_other_computers_it_answers_with_the_token_alone_and_killed_it_leaves_nothing(tmp_path: Path) -> None:
    with served("--listen", "0.0.0.0", "--token", "new", folder=tmp_path) as server:
        found = re.fullmatch(r"http://([^/]+):\d+/\?token=([\w-]+)", server.url)
        assert found is not None
        host, token = found.groups()
        assert host != "0.0.0.0"
        assert len(token) >= SHORTEST_TOKEN
        here = f"http://127.0.0.1:{server.port}"
        with httpx.Client(base_url=here, timeout=PATIENCE) as browser:
            assert browser.get("/").status_code == 401
            assert browser.get("/api/1/machines").status_code == 401
            assert browser.get(f"/?token={token}").status_code == 303
            assert browser.get("/").status_code == 200
            assert browser.get("/api/1/machines").status_code == 200
        bearer = {"authorization": f"Bearer {token}"}
        assert httpx.get(f"{here}/api/1/machines", headers=bearer, timeout=PATIENCE).status_code == 200
        workers = processes_of(server.process.pid)
        assert workers or sys.platform != "linux"
        server.process.kill()
        server.process.wait(timeout=PATIENCE)
        wait_until_gone(workers)


def refused(capsys: pytest.CaptureFixture[str], *options: str) -> str:
    """Return the one line of a command that is refused."""
    assert run(["serve", "--no-browser", *options]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert len(captured.err.strip().splitlines()) == 1
    return captured.err


def test_a_port_in_use_is_named_with_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    with listen("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        said = refused(capsys, "--port", str(port))
    assert f"port {port} of 127.0.0.1 is in use" in said
    assert "--port 0" in said


def test_any_free_port_is_a_free_one() -> None:
    with listen("127.0.0.1", 0) as one, listen("127.0.0.1", 0) as other:
        assert one.getsockname()[1] != other.getsockname()[1]


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--listen", "0.0.0.0"], "--token"),
        (["--listen", "192.168.7.20"], "--token"),
        (["--listen", "0.0.0.0", "--token", "short"], "at least 16"),
        (["--listen", "0.0.0.0", "--token", "spaces are not in it"], "at least 16"),
        (["--token", "fifteen-letters"], "at least 16"),
        (["--listen", "no-such-host.invalid"], "--token"),
        (["--listen", "no-such-host.invalid", "--token", "new"], "--listen"),
        (["--listen", "192.0.2.77", "--token", "new"], "192.0.2.77"),
        (["--folder", "no-such-folder"], "--folder"),
        (["--profiles", "no-such-folder"], "--profiles"),
    ],
)
def test_what_cannot_be_served_is_one_message_that_says_what_to_do(
    capsys: pytest.CaptureFixture[str], options: list[str], named: str
) -> None:
    assert named in refused(capsys, "--port", "0", *options)


def test_without_the_extra_it_says_what_to_install(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("planner.commands.serve.find_spec", lambda _: None)
    assert "pip install 'bendorder[page]'" in refused(capsys)


def test_the_help_says_that_the_machine_is_never_moved(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", "--help"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "it never moves the machine" in said
    assert "the shop's own cautions stand" in said


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.8.7.6"])
def test_this_computer_alone_needs_no_token(host: str) -> None:
    assert is_loopback(host)
    assert token_for(host, None) is None


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.7.20", "fd00::7", "shop-pc", "127.0.0.1.evil.example"])
def test_every_other_host_needs_one(host: str) -> None:
    assert not is_loopback(host)
    with pytest.raises(InputError, match="without a token"):
        token_for(host, None)
    made = token_for(host, "new")
    assert made is not None
    assert token_for(host, made) == made
    assert token_for(host, "new") != made


def test_the_address_that_is_printed_can_be_opened() -> None:
    assert Settings(port=8765).url == "http://127.0.0.1:8765/"
    assert Settings(host="::1", port=80, token="a" * 16).url == f"http://[::1]:80/?token={'a' * 16}"
    assert "0.0.0.0" not in Settings(host="0.0.0.0", port=80).url


def test_the_examples_come_with_the_program() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    inside = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert inside["examples"] == "planner/examples"
    assert packaged_folder() == ROOT / "examples"
    found = {part.name: part for part in example_parts()}
    assert set(found) == {path.stem for path in (ROOT / "examples").glob("*.toml")}
    assert found["canopy-brace"].about.endswith("it is longer than the centreline is high."), (
        "comments of several lines"
    )


def test_a_folder_of_own_parts_is_listed_whatever_is_in_it(tmp_path: Path) -> None:
    (tmp_path / "b.json").write_text(json.dumps({"name": "b"}), encoding="utf-8")
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "c.txt").write_text("# no part", encoding="utf-8")
    (tmp_path / "d.toml").mkdir()
    assert [(part.name, part.about) for part in example_parts(tmp_path)] == [("a", ""), ("b", "")]
