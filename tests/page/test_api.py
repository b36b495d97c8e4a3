"""The API: the commands' own documents, one error for each wrong request, no file read, and nothing left running."""

from __future__ import annotations

import asyncio
import html
import json
import re
import shlex
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.command import run
from planner.inputs.files import load_machine, load_part, part_from_data
from planner.page import jobs
from planner.page.api import build_api
from planner.page.error_responses import STATUS
from planner.page.examples import example_parts
from planner.page.jobs import Workers
from planner.page.programs import routes_for_programs
from planner.page.reference import page_of
from planner.page.server import warm_up
from planner.page.settings import Settings
from tests.page import job_tasks as do
from tests.processes import PATIENCE

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"
HERE = "http://127.0.0.1:8765"
SETTINGS = Settings()

PART: dict[str, Any] = {
    "name": "hatch rail",
    "units": "mm",
    "machine": "canal-workshop",
    "tube": {"outside_diameter": 38.1, "wall": 1.65, "material": "stainless 304"},
    "shape": {"bend_radius": 76.2, "lra": [[400, 0, 90], [500]]},
}
TEXT = """name = "hatch rail"
units = "mm"
machine = "canal-workshop"
[tube]
outside_diameter = 38.1
wall = 1.65
material = "stainless 304"
[shape]
bend_radius = 76.2
"""
ROWS = "lra = [[400, 0, 90], [500]]\n"
CSV = "straight,rotation,angle\n400,0,90\n500\n"


class Service:
    """The API in a loop of its own, with real workers."""

    def __init__(self) -> None:
        self.runner = asyncio.Runner()
        self.workers = Workers(2, warm_up=warm_up)
        self.workers.start()
        self.app = app_of(self.workers)

    def ask(self, method: str, path: str, app: FastAPI | None = None, **sent: Any) -> httpx.Response:
        """Return the answer to one request."""

        async def asking() -> httpx.Response:
            transport = httpx.ASGITransport(app or self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url=HERE, timeout=60.0) as client:
                return await client.request(method, path, **sent)

        return self.runner.run(asking())

    def post(self, path: str, app: FastAPI | None = None, **body: Any) -> httpx.Response:
        return self.ask("POST", f"/api/1/{path}", app, json=body)

    def close(self) -> None:
        self.runner.run(self.workers.close())
        self.runner.close()


def app_of(workers: Workers) -> FastAPI:
    app = FastAPI()
    app.router.routes += routes_for_programs(workers, example_parts(), SETTINGS)
    return app


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    service = Service()
    yield service
    service.close()


def error_in(answer: httpx.Response, status: int) -> dict[str, Any]:
    """Return the error of an answer, which must be the document of one."""
    assert answer.status_code == status, answer.text
    document = answer.json()
    assert document["schema"] == "bendorder-error/1"
    assert answer.headers["cache-control"] == "no-store"
    error: dict[str, Any] = document["error"]
    return error


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """Return what a command prints."""
    run([*arguments, "--json"])
    return capsys.readouterr().out


# ------------------------------------------------------------------------------- the commands' documents


@pytest.mark.parametrize("name", ["lockside-rail", "tiller-bracket"])
def test_a_plan_is_the_commands_byte_for_byte(service: Service, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = EXAMPLES / f"{name}.toml"
    expected = printed(capsys, "plan", str(path))
    as_text = service.post("plan", part_text=path.read_text(encoding="utf-8"))
    part = service.ask("GET", f"/api/1/examples/{name}").json()["part"]
    as_document = service.post("plan", part=part, machine=load_machine("canal-workshop").normalised())
    for answer in (as_text, as_document):
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("application/json")
        assert answer.text == expected


def test_a_part_in_two_files_is_sent_as_two_texts(service: Service, capsys: pytest.CaptureFixture[str]) -> None:
    text, csv = ((EXAMPLES / f"trailer-frame.{kind}").read_text(encoding="utf-8") for kind in ("toml", "csv"))
    answer = service.post("plan", part_text=text, part_csv=csv)
    assert answer.text == printed(capsys, "plan", str(EXAMPLES / "trailer-frame.toml"))


def test_a_part_is_sent_as_json_text_too(service: Service) -> None:
    answers = [service.post("plan", part=PART), service.post("plan", part_text=json.dumps(PART), part_format="json")]
    answers.append(service.post("plan", part_text=TEXT + ROWS))
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.text for answer in answers}) == 1


def test_what_plan_has_as_options_can_be_asked_for(service: Service) -> None:
    plain = service.post("plan", part=PART).json()
    assert (plain["confirmed"], plain["alternatives"], plain["changes"]) == (None, [], [])
    answer = service.post("plan", part=PART, confirm=True, alternatives=True).json()
    assert answer["confirmed"] is True
    assert len(answer["warnings"]) == len(plain["warnings"]) + 1, "how many were looked at is told"
    tail = {**PART, "shape": {"bend_radius": 76.2, "lra": [[400, 0, 90], [70, 0, 90], [500]]}}
    impossible = service.post("plan", part=tail, changes=True).json()
    assert impossible["verdict"] == "not makeable"
    assert impossible["changes"]
    trim = {**PART, "ends": {"trim_a": 300, "trim_b": 300}}
    assert service.post("plan", part=trim, prefer="less trim").json()["stock"]["trim_a"] == 0


def test_why_and_an_order_judged_are_the_commands(service: Service, capsys: pytest.CaptureFixture[str]) -> None:
    path = EXAMPLES / "lockside-rail.toml"
    answer = service.post("why", part_text=path.read_text(encoding="utf-8"), order="3A 4A 2B 1B")
    assert answer.text == printed(capsys, "why", str(path), "--order", "3A 4A 2B 1B")


def test_a_check_has_the_commands_lines(service: Service, capsys: pytest.CaptureFixture[str]) -> None:
    path = EXAMPLES / "lockside-rail.toml"
    expected = json.loads(printed(capsys, "check", str(path), "--all"))
    answer = service.post("check", part_text=path.read_text(encoding="utf-8")).json()
    for line in (*expected["lines"], *answer["lines"]):
        line["part_file"] = None
    assert answer == expected
    named = service.post("check", part=PART, machines=["long-bed", load_machine("canal-workshop").normalised()]).json()
    assert [line["verdict"] for line in named["lines"]] == ["not makeable", "makeable"]


def test_machines_are_listed_and_shown(service: Service, capsys: pytest.CaptureFixture[str]) -> None:
    expected = json.loads(printed(capsys, "machines"))
    answer = service.ask("GET", "/api/1/machines").json()
    for entry in expected["machines"]:
        entry["file"] = Path(entry["file"]).name
    assert answer == expected, "but for the folders, which are nobody's business"
    for entry in answer["machines"]:
        shown = service.ask("GET", f"/api/1/machines/{entry['name']}").json()
        assert shown["schema"] == "bendorder-machine/1"
        assert shown["machine"] == load_machine(entry["name"]).normalised()


def test_every_example_can_be_fetched_and_sent_back(service: Service) -> None:
    listed = service.ask("GET", "/api/1/examples").json()
    assert listed["schema"] == "bendorder-examples/1"
    assert [entry["name"] for entry in listed["examples"]] == sorted(path.stem for path in EXAMPLES.glob("*.toml"))
    for entry in listed["examples"]:
        assert entry["about"].startswith("Invented part")
        part = service.ask("GET", f"/api/1/examples/{entry['name']}").json()["part"]
        assert part_from_data(part) == load_part(EXAMPLES / f"{entry['name']}.toml")


def test_a_spoiled_profile_hides_no_other(tmp_path: Path) -> None:
    (tmp_path / "spoiled.toml").write_text("name = 3", encoding="utf-8")
    service = Service()
    try:
        app = FastAPI()
        app.mount("/api/1", build_api(service.workers, (), Settings(profiles=tmp_path)))
        listed = {
            entry["name"]: entry["about"] for entry in service.ask("GET", "/api/1/machines", app).json()["machines"]
        }
        assert listed["spoiled"].startswith("cannot be used: ")
        assert "canal-workshop" in listed
        checked = service.post("check", app, part=PART).json()
        assert "spoiled" not in [line["machine"] for line in checked["lines"]]
        assert error_in(service.ask("GET", "/api/1/machines/spoiled", app), 422)["key"] is not None
    finally:
        service.close()


def test_an_answer_is_kept_until_a_profile_is_changed_or_gone(tmp_path: Path) -> None:
    profile = tmp_path / "mine.toml"
    text = (ROOT / "machine_profiles" / "canal-workshop.toml").read_text(encoding="utf-8")
    profile.write_text(text, encoding="utf-8")
    (tmp_path / "nowhere.toml").symlink_to(tmp_path / "not there")
    service = Service()
    try:
        app = FastAPI()
        app.router.routes += routes_for_programs(service.workers, (), Settings(profiles=tmp_path))
        part = {**PART, "machine": "mine"}
        first = service.post("plan", app, part=part)
        assert first.json()["verdict"] == "makeable"
        assert service.post("plan", app, part=part).text == first.text
        profile.write_text(text.replace("clamp_lengths = [115, 76]", "clamp_lengths = [260]"), encoding="utf-8")
        assert service.post("plan", app, part=part).text != first.text
        profile.unlink()
        assert error_in(service.post("plan", app, part=part), 404)["kind"] == "UnknownMachine"
    finally:
        service.close()


# --------------------------------------------------------------------------------------- what is refused


def without(key: str) -> dict[str, Any]:
    return {name: value for name, value in PART.items() if name != key}


WRONG: list[tuple[str, dict[str, Any], int, dict[str, Any]]] = [
    ("plan", {}, 422, {"kind": "InputError", "key": "part"}),
    ("plan", {"part": PART, "part_text": TEXT}, 422, {"key": "part"}),
    ("plan", {"part": PART, "part_csv": CSV}, 422, {"key": "part_csv"}),
    ("plan", {"part": "rail"}, 422, {"file": "request", "key": "part", "found": "rail"}),
    ("plan", {"part": PART, "prefer": "luck"}, 422, {"key": "prefer", "found": "luck"}),
    ("plan", {"part": PART, "colour": "red"}, 422, {"key": "colour", "problem": "the key is not known"}),
    ("plan", {"part": PART, "time_limit": 0}, 422, {"key": "time_limit", "found": 0}),
    ("plan", {"part": PART, "time_limit": 301}, 422, {"key": "time_limit"}),
    ("plan", {"part": without("tube")}, 422, {"key": "tube", "file": None}),
    ("plan", {"part": {**PART, "name": 3}}, 422, {"key": "name", "found": 3}),
    ("plan", {"part": without("machine")}, 422, {"key": "machine"}),
    ("plan", {"part": PART, "machine": "canal-workshp"}, 404, {"kind": "UnknownMachine", "suggestion": "canal-workshop"}),
    ("plan", {"part": PART, "machine": {"name": "mine", "units": "mm"}}, 422, {"key": "head"}),
    ("plan", {"part": PART, "machine": "long-bed"}, 422, {"kind": "NoTooling"}),
    ("plan", {"part_text": TEXT + "lra = [[400, 0, -90], [500]]"}, 422, {"file": "part.toml", "line": 10, "key": "shape.lra[1]", "row": 1, "cell": "angle"}),
    ("plan", {"part_text": "name = "}, 422, {"kind": "UnreadableFile", "file": "part.toml", "line": 1}),
    ("plan", {"part_text": TEXT, "part_format": "json"}, 422, {"kind": "UnreadableFile", "file": "part.json"}),
    ("plan", {"part_text": TEXT + 'file = "a.csv"', "part_csv": CSV.replace("90", "x")}, 422, {"file": "a.csv", "line": 2}),
    ("plan", {"part_text": TEXT + ROWS, "part_csv": CSV}, 422, {"key": "shape.file"}),
    ("why", {"part": PART, "order": "1A 2A"}, 422, {"key": "--order"}),
    ("check", {"part": PART, "machines": []}, 422, {"key": "machines"}),
    ("check", {"part": PART, "machines": ["nil"]}, 404, {"kind": "UnknownMachine"}),
]  # fmt: skip


@pytest.mark.parametrize(("path", "body", "status", "expected"), WRONG)
def test_what_is_wrong_is_told_as_the_commands_tell_it(
    service: Service, path: str, body: dict[str, Any], status: int, expected: dict[str, Any]
) -> None:
    error = error_in(service.post(path, **body), status)
    assert {key: error[key] for key in expected} == expected
    assert error["message"]
    assert "Traceback" not in error["message"]


def test_what_is_no_json_is_told(service: Service) -> None:
    sent: dict[str, Any] = {"content": b'{"part": ', "headers": {"content-type": "application/json"}}
    assert error_in(service.ask("POST", "/api/1/plan", **sent), 422)["line"] == 1
    forms: dict[str, Any] = {"content": json.dumps({"part": PART}), "headers": {"content-type": "text/plain"}}
    assert service.ask("POST", "/api/1/plan", **forms).status_code == 422, (
        "a form of another page can send no other kind"
    )
    deep: dict[str, Any] = {"content": b"[" * 200_000, "headers": {"content-type": "application/json"}}
    assert "nested too deep" in error_in(service.ask("POST", "/api/1/plan", **deep), 422)["problem"]
    part = b'{"part": {"name": ' + b"[" * 900 + b"]" * 900 + b"}}"
    nested: dict[str, Any] = {"content": part, "headers": {"content-type": "application/json"}}
    assert "nested too deep" in error_in(service.ask("POST", "/api/1/plan", **nested), 422)["problem"]
    nan: dict[str, Any] = {
        "content": b'{"part": {"name": NaN}, "time_limit": NaN}',
        "headers": {"content-type": "application/json"},
    }
    error_in(service.ask("POST", "/api/1/plan", **nan), 422)


ODD = {
    "half a pair": "\ud800", "nothing": "\0", "controls": "a\nb\x1b[2J\x7f", "long": "x" * 5000, "a path": "../../etc/passwd",
    "digits": "9" * 5000, "right to left": "\u202e\u2066", "none": "", "a device": "CON", "escapes": "%00%0a%2e%2e", "an exponent": "1e999",
}  # fmt: skip


def odd_bodies(text: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Requests in which a text stands wherever one may."""
    for key in ("name", "machine", "units"):
        yield "plan", {"part": {**PART, key: text}}
    yield "plan", {"part": {**PART, "tube": {**PART["tube"], "material": text}}}
    yield "plan", {"part": {**PART, text: 1}}
    yield "plan", {"part": {**PART, "shape": {"bend_radius": 76.2, "file": text}}}
    for key in ("machine", "prefer", "part_text", "part_format", text):
        yield "plan", {"part": PART, key: text}
    yield "plan", {"part_text": TEXT.replace("hatch", text) + ROWS}
    yield "plan", {"part_text": TEXT + 'file = "a.csv"\n', "part_csv": CSV + text}
    yield "why", {"part": PART, "order": text}
    yield "check", {"part": PART, "machines": [text]}
    yield "check", {"part": PART, "time_limit": text}


@pytest.mark.parametrize("text", ODD.values(), ids=ODD)
def test_no_text_is_a_fault_of_the_programs(service: Service, text: str, capfd: pytest.CaptureFixture[str]) -> None:
    for path, body in odd_bodies(text):
        sent: dict[str, Any] = {"content": json.dumps(body), "headers": {"content-type": "application/json"}}
        answer = service.ask("POST", f"/api/1/{path}", **sent)
        if answer.status_code != 200:  # a name may be any text
            assert error_in(answer, 404 if answer.status_code == 404 else 422)["message"]
            assert len(answer.json()["error"]["message"]) <= 500
    assert capfd.readouterr().err == ""


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode) | st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(
        st.sampled_from(["part", "machine", "part_text", "shape", "tube", "lra", "time_limit"]) | st.text(), inner)
).map(lambda value: json.dumps(value).encode()))  # fmt: skip
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_body_is_a_fault_of_the_programs(service: Service, body: bytes) -> None:
    for path in ("plan", "why", "check"):
        sent: dict[str, Any] = {"content": body, "headers": {"content-type": "application/json"}}
        answer = service.ask("POST", f"/api/1/{path}", **sent)
        assert error_in(answer, 422)["kind"] in ("InputError", "UnreadableFile")


def test_every_status_that_can_be_answered_is_in_the_reference(service: Service) -> None:
    document = service.ask("GET", "/api/1/openapi.json").json()
    shown = html.unescape(service.ask("GET", "/api").text)
    may_be = {status for _, status in STATUS} | {400, 401, 403, 405, 408, 413, 421, 500}
    for operation in (document["paths"][path]["post"] for path in ("/plan", "/why", "/check")):
        assert {int(status) for status in operation["responses"]} == may_be | {200}
        for answer in operation["responses"].values():
            assert answer["description"] in shown
    guard = (ROOT / "planner" / "page" / "guard.py").read_text(encoding="utf-8")
    assert {int(status) for status in re.findall(r"Refusal\(\s*(\d+)", guard)} <= may_be


def test_names_and_methods_that_are_not_there_are_told(service: Service) -> None:
    assert error_in(service.ask("GET", "/api/1/examples/cabin-grab-rial"), 404)["suggestion"] == "cabin-grab-rail"
    assert error_in(service.ask("GET", "/api/1/machines/canal-workshp"), 404)["suggestion"] == "canal-workshop"
    assert error_in(service.ask("GET", "/api/1/nowhere"), 404)["kind"] == "NotFound"
    assert error_in(service.ask("GET", "/api/2/plan"), 404)["kind"] == "NotFound"
    assert error_in(service.ask("GET", "/api/1/plan"), 405)["kind"] == "MethodNotAllowed"
    assert error_in(service.ask("PUT", "/api"), 405)["kind"] == "MethodNotAllowed"
    assert error_in(service.ask("DELETE", "/api/nowhere"), 404)["kind"] == "NotFound"


@pytest.mark.parametrize(
    "encoded", ["..%2Fmachine_profiles%2Fcanal-workshop", "%2Fetc%2Fpasswd", "canal-workshop.toml"]
)
def test_no_path_leads_to_a_file(service: Service, encoded: str) -> None:
    for folder in ("machines", "examples"):
        assert service.ask("GET", f"/api/1/{folder}/{encoded}").status_code == 404


def test_no_file_of_this_computer_is_read(service: Service, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of these files is there and would do."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rows.csv").write_text(CSV, encoding="utf-8")
    profile = tmp_path / "mine.toml"
    profile.write_text(
        (ROOT / "machine_profiles" / "canal-workshop.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    for name in ("rows.csv", "./rows.csv", str(tmp_path / "rows.csv")):
        part = {**PART, "shape": {"bend_radius": 76.2, "file": name}}
        assert error_in(service.post("plan", part=part), 422)["key"] == "shape.file"
        text = TEXT + f'file = "{name}"\n'
        assert error_in(service.post("plan", part_text=text), 422)["key"] == "shape.file"
        if name != "rows.csv":
            assert error_in(service.post("plan", part_text=text, part_csv=CSV), 422)["key"] == "shape.file"
    for name in ("mine.toml", "./mine.toml", str(profile), "../machine_profiles/canal-workshop.toml"):
        for body in ({"part": PART, "machine": name}, {"part": {**PART, "machine": name}}):
            assert error_in(service.post("plan", **body), 404)["kind"] == "UnknownMachine"
            assert error_in(service.post("why", **body), 404)["kind"] == "UnknownMachine"
        assert error_in(service.post("check", part=PART, machines=[name]), 404)["kind"] == "UnknownMachine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.toml", "rows.csv"], "nor is one written"


# ------------------------------------------------------------------------------------------- jobs and time


def test_the_time_limit_is_half_a_minute_unless_told_otherwise(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    for task in ("plan_answer", "why_answer", "check_answer"):
        monkeypatch.setattr(f"planner.page.api.{task}", do.tells_its_time_limit)
    for path in ("plan", "why", "check"):
        assert error_in(service.post(path, part=PART), 422)["found"] == 30.0
        assert error_in(service.post(path, part=PART, time_limit=300), 422)["found"] == 300.0


def test_a_fault_is_told_without_its_insides(
    service: Service, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("planner.page.api.plan_answer", do.breaks_whatever_it_is_given)
    error = error_in(service.post("plan", part=PART), 500)
    assert error == {"kind": "Fault", "message": "a fault of bendorder itself: RuntimeError: a broken assumption"}
    assert "in breaks" in capfd.readouterr().err


def test_a_job_that_hangs_is_answered_and_ended(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(jobs, "GRACE", 0.1)
    monkeypatch.setattr("planner.page.api.plan_answer", do.hangs_whatever_it_is_given)
    answer = service.post("plan", part=PART, time_limit=0.1)
    assert error_in(answer, 503)["kind"] == "Overdue"
    assert answer.headers["retry-after"] == "5"
    assert service.workers.under_way == 0


def test_too_many_jobs_are_answered(service: Service) -> None:
    answer = service.post("plan", app_of(Workers(1, most_waiting=0)), part=PART)
    assert error_in(answer, 503)["kind"] == "TooBusy"
    assert answer.headers["retry-after"] == "1"


def request_of(app: FastAPI, body: dict[str, Any], left: asyncio.Event) -> Any:
    """One request whose client leaves when it is told to; returns what it was sent."""
    sent: list[Any] = []
    pieces = [{"type": "http.request", "body": json.dumps(body).encode(), "more_body": False}]

    async def receive() -> Any:
        if pieces:
            return pieces.pop()
        await left.wait()
        return {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST", "scheme": "http",
        "path": "/api/1/plan", "raw_path": b"/api/1/plan", "query_string": b"", "root_path": "",
        "headers": [(b"content-type", b"application/json"), (b"host", b"127.0.0.1:8765")],
        "client": ("127.0.0.1", 50000), "server": ("127.0.0.1", 8765),
    }  # fmt: skip
    return app(scope, receive, send)


@pytest.mark.parametrize("how", ["the client leaves", "the server stops waiting"])
def test_a_client_that_leaves_ends_its_job(service: Service, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    monkeypatch.setattr("planner.page.api.plan_answer", do.hangs_whatever_it_is_given)

    async def test() -> None:
        left = asyncio.Event()
        request = asyncio.ensure_future(request_of(service.app, {"part": PART}, left))
        deadline = time.monotonic() + PATIENCE
        while service.workers.under_way == 0:
            assert time.monotonic() < deadline
            await asyncio.sleep(0.01)
        before = set(service.workers.processes)
        await asyncio.sleep(0.2)
        assert service.workers.under_way == 1, "it is waited for as long as the client is there"
        if how == "the client leaves":
            left.set()
            await asyncio.wait_for(request, PATIENCE)
        else:
            request.cancel()
            with pytest.raises(asyncio.CancelledError):
                await request
        assert service.workers.under_way == 0
        assert before - set(service.workers.processes), "its process has gone"

    service.runner.run(test())
    monkeypatch.undo()
    assert service.post("plan", part=PART).status_code == 200


# ------------------------------------------------------------------------------------------- the reference


def test_the_openapi_document_holds_together(service: Service) -> None:
    document = service.ask("GET", "/api/1/openapi.json").json()
    assert document["openapi"].startswith("3.")
    assert document["servers"] == [{"url": "/api/1"}]
    assert {path: sorted(entry) for path, entry in document["paths"].items()} == {
        "/plan": ["post"], "/why": ["post"], "/check": ["post"], "/machines": ["get"], "/machines/{name}": ["get"],
        "/examples": ["get"], "/examples/{name}": ["get"],
    }  # fmt: skip
    schemas = document["components"]["schemas"]
    for name in re.findall(r'"#/components/schemas/([^"]+)"', json.dumps(document)):
        assert name in schemas
    assert set(schemas["Plan"]["properties"]) >= {"schema", "verdict", "steps", "order", "proved"}
    assert set(schemas["Step"]["properties"]) >= {"from", "to", "reading"}, "named as in the documents"
    for entry in document["paths"].values():
        for operation in entry.values():
            for status, answer in operation["responses"].items():
                refers = answer["content"]["application/json"]["schema"]["$ref"]
                assert refers.endswith("/ErrorAnswer") == (not status.startswith("2"))


def test_the_reference_is_a_page_that_needs_nothing_from_elsewhere(service: Service) -> None:
    answer = service.ask("GET", "/api")
    assert answer.status_code == 200
    page = answer.text
    assert "<script" not in page
    assert set(re.findall(r"https?://[^/\s<\"']+", page)) == {HERE}
    assert "color-scheme: light dark" in page
    for link in re.findall(r'href="#([^"]+)"', page):
        assert f'id="{link}"' in page
    for name in ("part_text", "time_limit", "undecided_because", "sought_to_the_end", "bendorder-error/1"):
        assert name in page


def test_every_example_of_the_reference_works(service: Service) -> None:
    commands = [html.unescape(text) for text in re.findall(r"<pre>(.*?)</pre>", service.ask("GET", "/api").text)]
    assert len(commands) == 7
    schemas = set()
    for command in commands:
        program, *words = shlex.split(command)
        assert program == "curl"
        url = next(word for word in words if word.startswith("http"))
        sent = words[words.index("-d") + 1] if "-d" in words else None
        headers = dict(word.split(": ") for flag, word in zip(words, words[1:], strict=False) if flag == "-H")
        answer = service.ask("GET" if sent is None else "POST", url, content=sent, headers=headers)
        assert answer.status_code == 200, command
        schemas.add(answer.json()["schema"])
        assert answer.json().get("verdict", "makeable") == "makeable"
    assert len(schemas) == 7


def test_the_reference_tells_of_the_token_where_there_is_one(service: Service) -> None:
    document = service.ask("GET", "/api/1/openapi.json").json()
    assert "Authorization: Bearer $TOKEN" in html.unescape(page_of(document, HERE, True))
    assert "Bearer" not in page_of(document, HERE, False)
