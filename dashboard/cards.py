"""Small layout pieces that pages share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html


def button(
    text: str,
    act: str,
    *,
    say: str | None = None,
    kind: str = "",
    pressed: bool | None = None,
    id: str | None = None,
) -> html.Button:
    """Make a button that does one thing; ``say`` is the text that goes with it."""
    more: dict[str, Any] = {"data-act": act}
    if say is not None:
        more["data-text"] = say
    if pressed is not None:
        more["aria-pressed"] = "true" if pressed else "false"
    if id is not None:
        more["id"] = id
    return html.Button(text, type="button", className=kind, **more)


def section(title: str, *children: Any, id: str, hidden_title: bool = False) -> html.Section:
    """Make a part of a page with a heading."""
    head = html.H2(title, id=f"{id}-head", className="unseen" if hidden_title else "")
    return html.Section([head, *children], id=id, **{"aria-labelledby": f"{id}-head"})


def choice(label: str, id: str, options: Mapping[str, str], field: str) -> html.Div:
    """Make a labelled list to choose one thing from; ``field`` names it to the server."""
    return html.Div(
        [
            html.Label(label, htmlFor=id),
            html.Select(
                [html.Option(text, value=value) for value, text in options.items()],
                id=id,
                **{"data-field": field},
            ),
        ],
        className="field",
    )


def text_field(label: str, id: str, hint: str = "", mode: str = "text") -> html.Div:
    """Make a labelled line to type in."""
    from dash import dcc

    more = {"inputMode": mode, "autoComplete": "off"}
    children: list[Any] = [html.Label(label, htmlFor=id), dcc.Input(id=id, type="text", **more)]
    if hint:
        children.append(html.Small(hint))
    return html.Div(children, className="field")
