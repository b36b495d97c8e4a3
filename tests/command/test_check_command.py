"""`bendorder check`: a line for each part and machine, exit codes, CSV and JSON alike, interrupted without leftovers."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from planner import load_machine, load_part, plan
from planner.advice import machines
from planner.advice.machines import Checked, Pair, Settled, name_of
from planner.command import run
from planner.inputs.profiles import list_profiles
from planner.outputs.check_page import COLUMNS, check_csv, check_document
from tests.processes import BEATING, INTERRUPTED, PATIENCE, ROOT, beating, started, wait_until, wait_until_gone

PROFILES = [profile.name for profile in list_profiles()]

Captured = pytest.CaptureFixture[str]


def example(name: str) -> str:
    return str(ROOT / "examples" / f"{name}.toml")


SAID: dict[tuple[str, ...], str] = {}


def said(captured: Captured, *arguments: str) -> str:
    """What the command prints, run once for all tests that ask for the same."""
    if arguments not in SAID:
        run([*arguments])
        SAID[arguments] = captured.readouterr().out
    return SAID[arguments]


def document(captured: Captured) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(captured.readouterr().out)
    return read


GOLDEN = """\
cabin grab rail: makeable on 3 of 4 machines.

  machine        verdict      re-clamps trim      clearance  cut length
  canal-workshop makeable     0         0.0 mm    22.1 mm    2069.4 mm
  long-bed       not makeable No tooling for tube 38.1 mm on radius 76.2 mm.
  three-axis     makeable     0         0.0 mm    28.6 mm    2069.4 mm
  under-the-loft makeable     0         0.0 mm    22.1 mm    2069.4 mm

Clearance: the smallest of all motions of the plan, proved. Cut length: trim included.
A plan is checked against the profile and for this order only, not against the machine in front of
you.
"Clear" means clear of the machine, never of people.
"""


def test_the_page_of_an_example_on_all_profiles(capsys: Captured) -> None:
    assert run(["check", example("cabin-grab-rail"), "--all"]) == 0
    captured = capsys.readouterr()
    assert captured.out == GOLDEN
    assert captured.err.startswith("checked in ")


SEVERAL = """\
Makeable: 1 of 3 parts; not makeable: 2.

  part                machine        verdict      re-clamps trim      clearance  cut length
  fender hook         canal-workshop makeable     0         254.0 mm  24.7 mm    858.5 mm
  tiller bracket      canal-workshop not makeable Straight 1 between bends 1 and 2 is 55.0 mm; the
                                                  later of the two must be gripped on it, and the
                                                  shortest clamp is 76.0 mm.
  foredeck gantry leg canal-workshop not makeable No tooling for tube 50.8 mm on radius 101.6 mm.

"""


def test_several_parts_have_their_names_in_each_line(capsys: Captured) -> None:
    parts = [example(name) for name in ("fender-hook", "tiller-bracket", "foredeck-gantry")]
    assert run(["check", *parts, "-m", "canal-workshop"]) == 1
    assert capsys.readouterr().out.startswith(SEVERAL)


def test_without_a_machine_each_part_is_checked_on_its_own(capsys: Captured) -> None:
    run(["check", example("loft-rail"), example("mooring-stanchion"), "--json"])
    lines = document(capsys)["lines"]
    assert [(line["machine"], line["verdict"]) for line in lines] == [
        ("under-the-loft", "not makeable"),
        ("long-bed", "makeable"),
    ]


def test_machines_stand_in_the_order_in_which_they_are_named_and_once(capsys: Captured) -> None:
    named = ["three-axis", "canal-workshop", "three-axis"]
    run(["check", example("fender-hook"), *(word for name in named for word in ("-m", name)), "--json"])
    assert [line["machine"] for line in document(capsys)["lines"]] == ["three-axis", "canal-workshop"]


@pytest.mark.usefixtures("workshop")
def test_all_means_every_profile_that_is_listed_the_given_folders_too(capsys: Captured) -> None:
    run(["machines", "--profiles", "profiles", "--json"])
    listed = [entry["name"] for entry in document(capsys)["machines"]]
    assert set(listed) == {"towpath-bender", *PROFILES}
    assert run(["check", "rail.toml", "--all", "--profiles", "profiles", "--json"]) == 0
    assert [line["machine"] for line in document(capsys)["lines"]] == listed


EXIT_CODES = [
    (["cabin-grab-rail"], ["-m", "canal-workshop"], 0),
    (["cabin-grab-rail"], ["-m", "long-bed", "-m", "canal-workshop"], 0),
    (["cabin-grab-rail", "fender-hook"], ["-m", "canal-workshop"], 0),
    (["cabin-grab-rail", "loft-rail"], [], 1),
    (["tiller-bracket"], ["-m", "canal-workshop", "-m", "three-axis"], 1),
    (["cabin-grab-rail"], ["-m", "long-bed"], 1),
    (["wharf-rail"], ["-m", "canal-workshop", "--time-limit", "0.000001"], 3),
    (["wharf-rail"], ["-m", "long-bed", "-m", "canal-workshop", "--time-limit", "0.000001"], 3),
    (["wharf-rail", "no-such-part"], ["-m", "canal-workshop"], 2),
    (["tiller-bracket"], ["-m", "canal-workshop", "-m", "no-such-machine"], 2),
]


@pytest.mark.parametrize(("parts", "options", "code"), EXIT_CODES)
@pytest.mark.parametrize("form", [[], ["--csv"], ["--json"]], ids=["page", "csv", "json"])
def test_the_exit_code_says_what_the_lines_come_to(
    parts: list[str], options: list[str], code: int, form: list[str], capsys: Captured
) -> None:
    assert run(["check", *map(example, parts), *options, *form]) == code
    out = capsys.readouterr().out
    if form == ["--json"]:
        assert json.loads(out)["verdict"] == ["makeable", "not makeable", "bad input", "undecided"][code]
    verdicts = {0: "makeable", 1: "not makeable", 2: "bad input", 3: "undecided"}
    assert verdicts[code] in out


@pytest.mark.parametrize(
    ("found", "code"),
    [
        ([["makeable", "not makeable"], ["undecided", "not makeable"]], 3),
        ([["makeable"], ["undecided"], ["not makeable"]], 1),
        ([["undecided", "makeable"], ["makeable", "undecided"]], 0),
    ],
)
def test_several_parts_are_makeable_only_if_each_is_on_some_machine(
    found: list[list[Settled]], code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    verdicts = iter([verdict for lines in found for verdict in lines])

    def put(pairs: Sequence[Pair], **_: Any) -> tuple[Checked, ...]:
        return tuple(
            Checked(pair.part.name, pair.part.source, name_of(pair.machine), None, next(verdicts)) for pair in pairs
        )

    monkeypatch.setattr(machines, "check_pairs", put)
    named = [word for name in PROFILES[: len(found[0])] for word in ("-m", name)]
    assert run(["check", *[example("cabin-grab-rail")] * len(found), *named]) == code


MIXED = ["fender-hook", "loft-rail", "tiller-bracket"]


def test_csv_has_the_same_lines_and_numbers_as_json_and_as_the_plans(capsys: Captured) -> None:
    arguments = ("check", *map(example, MIXED), "--all")
    lines = json.loads(said(capsys, *arguments, "--json"))["lines"]
    text = said(capsys, *arguments, "--csv")
    rows = list(csv.DictReader(io.StringIO(text), strict=True))
    assert tuple(csv.DictReader(io.StringIO(text)).fieldnames or ()) == COLUMNS
    assert len(rows) == len(lines) == len(MIXED) * len(PROFILES)
    for row, line in zip(rows, lines, strict=True):
        assert set(line) == {*COLUMNS, "error", "fact"}
        assert {name: read(value, line[name]) for name, value in row.items()} == {name: line[name] for name in COLUMNS}
    made = plan(load_part(example("fender-hook")), load_machine("canal-workshop"))
    first = next(row for row in rows if (row["part"], row["machine"]) == ("fender hook", "canal-workshop"))
    assert made.stock is not None
    assert (float(first["cut_length"]), float(first["trim_a"])) == (made.stock.cut_length, made.stock.trim_a)
    assert (float(first["smallest_clearance"]), int(first["reclamps"])) == (made.smallest_clearance, made.reclamps)


def read(cell: str, like: object) -> object:
    """A CSV cell as the kind of thing that the document holds; an empty one as none."""
    if cell == "":
        return None
    if isinstance(like, bool):
        return {"true": True, "false": False}[cell]
    return type(like)(cell) if isinstance(like, int | float) else cell


def test_names_with_commas_quotes_and_line_breaks_stay_in_their_cells() -> None:
    line = Checked(
        'rail, "left"\nhand', "a,b.toml", "canal-workshop", None, "makeable", proved=True, reclamps=0, trim=0.1
    )
    rows = list(csv.DictReader(io.StringIO(check_csv([[line]])), strict=True))
    assert len(rows) == 1
    assert (rows[0]["part"], rows[0]["part_file"]) == ('rail, "left" hand', "a,b.toml")
    assert (rows[0]["trim"], rows[0]["proved"], rows[0]["reason"]) == ("0.1", "true", "")


def test_the_same_input_gives_the_same_bytes(capsys: Captured) -> None:
    arguments = ("check", *map(example, MIXED), "--all", "--csv")
    assert said(capsys, *arguments, "--workers", "1") == said(capsys, *arguments)


def test_the_columns_and_keys_are_documented_in_their_order() -> None:
    from planner.outputs import check_page

    told = (check_page.__doc__ or "").split("\n    ")[1:]
    named = [name for entry in told if not entry.startswith(" ") for name in entry[:22].replace(",", " ").split()]
    assert tuple(named) == COLUMNS
    assert set(check_document([[Checked(None, None, None, None, "makeable")]])) == {"schema", "verdict", "lines"}


@pytest.mark.usefixtures("workshop")
@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("missing.toml", "missing.toml"),
        ("broken.toml", "tube.wall"),
        ("crossing.toml", "the tube runs through itself"),
        ("no-machine.toml", "no machine"),
        ("other-machine.toml", "towpath-bendr"),
    ],
)
def test_what_is_wrong_with_one_part_is_a_line_and_the_others_are_checked(
    workshop: Path, part: str, told: str, capsys: Captured
) -> None:
    text = (workshop / "rail.toml").read_text(encoding="utf-8")
    (workshop / "broken.toml").write_text(text.replace("wall = 1.65", "wall = -1.65"), encoding="utf-8")
    (workshop / "other-machine.toml").write_text(text.replace("towpath-bender", "towpath-bendr"), encoding="utf-8")
    crossing = text.replace(
        "[[250, 0, 90], [180, -90, 45], [300]]", "[[400, 0, 120], [90, 0, 120], [90, 0, 120], [400]]"
    )
    (workshop / "crossing.toml").write_text(crossing, encoding="utf-8")
    arguments = [part, "rail.toml", "--profiles", "profiles"]
    assert run(["check", *arguments, "--json"]) == 2
    lines = document(capsys)["lines"]
    assert [line["verdict"] for line in lines] == ["bad input", "makeable"]
    assert told in lines[0]["reason"]
    assert lines[0]["part_file"] == part
    assert told in json.dumps(lines[0]["error"])
    assert run(["check", *arguments]) == 2
    assert "Makeable: 1 of 2 parts; bad input: 1." in capsys.readouterr().out
    assert run(["check", part, "--profiles", "profiles"]) == 2
    captured = capsys.readouterr()
    assert captured.out == "", "where nothing else is asked it is an error like any other"
    assert told in captured.err


@pytest.mark.usefixtures("workshop")
def test_a_profile_that_cannot_be_read_is_a_line_and_the_others_are_checked(workshop: Path, capsys: Captured) -> None:
    (workshop / "profiles" / "half-written.toml").write_text('name = "half written"\n', encoding="utf-8")
    assert run(["check", "rail.toml", "--all", "--profiles", "profiles", "--csv"]) == 2
    rows = {row["machine"]: row for row in csv.DictReader(io.StringIO(capsys.readouterr().out), strict=True)}
    assert rows["half-written"]["verdict"] == "bad input"
    assert "half-written.toml" in rows["half-written"]["reason"]
    assert rows["towpath-bender"]["verdict"] == "makeable"
    assert set(rows) == {"half-written", "towpath-bender", *PROFILES}


@pytest.mark.usefixtures("workshop")
@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--all", "-m", "canal-workshop"], "--machine and --all exclude each other"),
        (["--csv", "--json"], "--csv and --json exclude each other"),
        (["--time-limit", "0"], "--time-limit"),
        (["--workers", "0"], "--workers"),
    ],
)
def test_options_that_cannot_be_are_bad_input(options: list[str], told: str, capsys: Captured) -> None:
    assert run(["check", "rail.toml", *options]) == 2
    captured = capsys.readouterr()
    if "--json" in options:
        assert told in json.loads(captured.out)["error"]["message"]
    else:
        assert captured.out == ""
        assert told in captured.err


def test_no_part_at_all_is_bad_input(capsys: Captured) -> None:
    assert run(["check"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "PART" in captured.err


COMMAND = f"""
{BEATING}
{INTERRUPTED}
import sys
from planner.advice import machines
from planner.command import main

def slow(pair, time_limit):
    beat(os.environ["BEATS"])

if __name__ == "__main__":
    machines.check_pair = slow
    main(["check", *sys.argv[1:]])
"""


def test_ctrl_c_leaves_with_130_and_no_worker_behind(tmp_path: Path) -> None:
    """Planning is replaced by minutes of writing on, so that it is seen when it has begun."""
    (tmp_path / "command.py").write_text(COMMAND, encoding="utf-8")
    command = [str(tmp_path / "command.py"), *[example("cabin-grab-rail")] * 6, "--workers", "2"]
    workers = min(2, os.cpu_count() or 1)
    with started(*command, path=tmp_path, BEATS=str(tmp_path)) as process:
        wait_until(lambda: len(beating(tmp_path)) >= workers, "planning has not begun")
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 130
    assert out == ""
    assert err == "bendorder: interrupted, there is no plan\n"
    assert len(beating(tmp_path)) == workers
    wait_until_gone(beating(tmp_path))
