"""What lies before a browser: kept while it is looked at, and cleared when there are too many."""

from __future__ import annotations

from pathlib import Path

from planner import load_machine, load_part
from planner.page.part_form import PartForm
from planner.page.session import Session, Sessions, plain_order
from planner.plans.document import OrderedBend

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "cargo-bike-rack.toml"


def laid() -> Session:
    return Session(PartForm.of(load_part(EXAMPLE)), load_machine("canal-workshop").normalised(), "canal-workshop")


def test_a_browser_finds_its_own_desk_again() -> None:
    sessions = Sessions(laid)
    one, new = sessions.of("one")
    other, _ = sessions.of("other")
    one.at = 7
    again, found_new = sessions.of("one")
    assert new
    assert not found_new
    assert again is one
    assert again.at == 7
    assert other is not one


def test_of_too_many_desks_only_those_are_cleared_that_nobody_looks_at() -> None:
    sessions = Sessions(laid, most=3)
    watched, _ = sessions.of("watched")
    watched.listeners.append(lambda _: None)
    idle, _ = sessions.of("idle")
    for number in range(6):
        sessions.of(f"passer-by {number}")
    assert sessions.of("watched")[0] is watched
    assert sessions.of("idle")[0] is not idle


def test_another_plan_ends_what_is_being_reckoned_and_keeps_the_own_order_only_if_asked() -> None:
    from planner.page.session import Work

    session, ended = laid(), []
    session.order = plain_order(2, "B")
    session.work.append(Work("planning", cancel=lambda: ended.append(True)))
    session.begin_anew()
    assert ended == [True]
    assert session.order == [OrderedBend(bend=2, leads="B"), OrderedBend(bend=1, leads="B")]
    session.forget_plan()
    assert session.order == []


def test_every_open_page_of_a_browser_hears_of_a_change() -> None:
    session, heard = laid(), []
    session.listeners += [heard.append, heard.append]
    session.changed("plan")
    assert heard == ["plan", "plan"]
