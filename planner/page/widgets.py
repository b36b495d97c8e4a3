"""The few controls of the page: plain HTML elements, large enough for a glove, each with its label."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement
from nicegui.events import GenericEventArguments

Act = Callable[[], Any]
Taken = Callable[[str], Any]

LARGEST_TEXT: Final = 1_000_000
"""Files beyond this are no part and no profile typed by hand [characters]."""

READ_FILE: Final = f"""(event) => {{
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  if (file.size > {LARGEST_TEXT}) {{ emit([file.name, null]); return; }}
  file.text().then((text) => emit([file.name, text]));
}}"""

PASTED_TABLE: Final = """(event) => {
  const text = event.clipboardData.getData("text");
  if (!/[\\t\\n]/.test(text.trim())) return;
  event.preventDefault();
  emit(text);
}"""


def box(classes: str = "", tag: str = "div", **props: Any) -> Element:
    """Return an element to put others in; props with their underscores as hyphens."""
    element = Element(tag).classes(classes)
    element.props.update({name.replace("_", "-").strip("-"): value for name, value in props.items()})
    return element


def words(said: str, classes: str = "", tag: str = "p") -> TextElement:
    """Return words on the page."""
    return TextElement(tag=tag, text=said).classes(classes)


def heading(said: str, tag: str = "h2") -> TextElement:
    """Return a heading."""
    return words(said, tag=tag)


def button(said: str, act: Act, classes: str = "", *, name: str | None = None, off: bool = False) -> TextElement:
    """Return a button; name: what it is called where its face is a sign only; off: it does nothing now."""
    element = TextElement(tag="button", text=said).classes(f"do {classes}")
    element.props["type"] = "button"
    if name is not None:
        element.props.update({"aria-label": name, "title": name})
    if off:
        element.props["disabled"] = True
    element.on("click", lambda _: act(), args=[])
    return element


def toggled(said: str, on: bool, act: Act, classes: str = "") -> TextElement:
    """Return a button of several of which one is on; that is said to those who do not see it, too."""
    element = button(said, act, f"{classes} on" if on else classes)
    element.props["aria-pressed"] = "true" if on else "false"
    return element


def choice(label: str, options: Mapping[str, str], value: str, taken: Taken) -> Element:
    """Return a list to pick from: values with what they are called."""
    with box("labelled", "label") as around:
        words(label, tag="span")
        with box("pick", "select") as select:
            for key, said in options.items():
                words(said, tag="option").props["value"] = key
        select.props["value"] = value
        select.on("change", lambda event: taken(str(event.args)), js_handler="(e) => emit(e.target.value)")
    return around


def entry(label: str, value: str, taken: Taken, *, number: bool = False, wrong: bool = False) -> Element:
    """Return a field to type in, with its label above; `taken` hears of every change."""
    with box("labelled", "label") as around:
        words(label, tag="span")
        cell(label, value, taken, number=number, wrong=wrong)
    return around


def cell(name: str, value: str, taken: Taken, *, number: bool = True, wrong: bool = False) -> Element:
    """Return a field of a table; name: what it is called where it shows no label."""
    field = box("type number" if number else "type", "input", type="text", aria_label=name)
    field.props["defaultValue"] = value  # a `value` would be put back over what is typed whenever the page is drawn
    field.props.update({"autocomplete": "off", "spellcheck": "false"})
    if number:
        field.props["inputmode"] = "decimal"
    if wrong:
        field.props["aria-invalid"] = "true"
    field.on("input", lambda event: taken(str(event.args)), js_handler="(e) => emit(e.target.value)")
    return field


def mark(field: Element, wrong: bool) -> None:
    """Mark a field as wrong, or as right again; what is being typed in it stays as it is."""
    if wrong != ("aria-invalid" in field.props):
        field.props.set_optional("aria-invalid", "true" if wrong else None)


def slider(name: str, most: int, value: int, taken: Callable[[int], Any]) -> Element:
    """Return a slider from 0 to a most."""
    element = box("", "input", type="range", min=0, max=most, step=1, value=value, aria_label=name)
    element.on("input", lambda event: taken(int(event.args)), js_handler="(e) => emit(Number(e.target.value))")
    return element


def file_button(said: str, endings: str, taken: Callable[[str, str | None], Any]) -> Element:
    """Return a button that reads a text file in the browser: its name and text, None where it is too large."""

    def read(event: GenericEventArguments) -> None:
        name, text = event.args
        taken(str(name), None if text is None or len(text) > LARGEST_TEXT else str(text))

    with box("labelled", "label") as around:
        words(said, tag="span")
        field = box("pick", "input", type="file", accept=endings, aria_label=said)
    field.on("change", read, js_handler=READ_FILE)
    return around


def on_paste(element: Element, taken: Taken) -> None:
    """Hear of a table that is pasted anywhere in an element."""
    element.on("paste", lambda event: taken(str(event.args)), js_handler=PASTED_TABLE)


def listed(sentences: Iterable[str], classes: str = "") -> Element:
    """Return sentences as a list."""
    with box(classes, "ul") as around:
        for sentence in sentences:
            words(sentence, tag="li")
    return around


def numeral(much: str, unit: str = "", classes: str = "numeral") -> Element:
    """Return a number to be read from far away, with its unit."""
    with box(classes) as around:
        words(much, tag="span")
        if unit:
            words(unit, "unit", tag="span")
    return around


def tile(of: str, much: str) -> Element:
    """Return a number with what it is of."""
    with box("tile") as around:
        words(of, "of", tag="div")
        words(much, "much", tag="div")
    return around
