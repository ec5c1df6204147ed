"""Small layout pieces of the review pages."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from markupsafe import Markup


def does(text: str, do: str, *, kind: str = "", **what: Any) -> html.Button:
    """Make a button that changes something in the store; ``what`` goes with the action."""
    action = json.dumps({"do": do, **what})
    return html.Button(
        text, type="button", className=f"changes {kind}".strip(),
        **{"data-act": "review", "data-review": action},
    )  # fmt: skip


def card(title: str, *children: Any, id: str, kind: str = "") -> html.Section:
    """Make a part of a page with a heading."""
    return html.Section(
        [html.H2(title, id=f"{id}-head"), *children],
        id=id,
        className=f"card {kind}".strip(),
        **{"aria-labelledby": f"{id}-head"},
    )


def number(value: str, sigma: str, unit: str) -> html.Span:
    """Show a number with its uncertainty and unit."""
    parts: list[Any] = [html.B(value, className="n")]
    if sigma:
        parts.append(html.Span(f" ± {sigma}", className="sigma n"))
    if unit and value != "–":
        parts.append(html.Span(f" {unit}", className="unit"))
    return html.Span(parts, className="number")


def title(text: str) -> html.Span:
    """Give the browser's tab, history and bookmarks a title; a script puts it there."""
    return html.Span(hidden=True, **{"data-title": text})


def leads(
    id: str,
    options: Mapping[str, str],
    own: str,
    groups: Mapping[str, Mapping[str, str]] | None = None,
) -> html.Select:
    """Make a list of choices, each of which is an address; ``own`` is the one that is shown.

    ``groups`` are more of them, by heading.
    """
    return html.Select(
        [
            *_options(options, own),
            *(html.Optgroup(_options(o, own), label=name) for name, o in (groups or {}).items()),
        ],
        id=id,
        **{"data-go": ""},
    )


def _options(options: Mapping[str, str], own: str) -> list[html.Option]:
    return [
        html.Option(text, value=address, selected=address == own)
        for address, text in options.items()
    ]


def entry(label: str, name: str, id: str, value: str = "", hint: str = "") -> html.Div:
    """Make a labelled line to type in; ``name`` is how the action calls it."""
    children: list[Any] = [
        html.Label(label, htmlFor=id),
        dcc.Input(id=id, name=name, value=value, type="text", autoComplete="off"),
    ]
    if hint:
        children.append(html.Small(hint))
    return html.Div(children, className="field")


def entries(
    text: str, do: str, fields: Sequence[Any], *, id: str, kind: str = "", **what: Any
) -> html.Div:
    """Make lines to type in with the button that sends them all; ``what`` goes with the action."""
    action = json.dumps({"do": do, **what})
    send = html.Button(
        text, type="button", className=kind, **{"data-act": "facts", "data-review": action}
    )
    return html.Div(
        [*fields, send], id=id, className="entries changes", role="group",
        **{"data-fields": "", "aria-label": text},
    )  # fmt: skip


def drawing(svg: str, caption: str = "") -> list[Any]:
    """Show a picture of ours as it is; nothing for an empty one."""
    if not svg:
        return []
    parts: list[Any] = [Markup(svg)]
    if caption:
        parts.append(html.Figcaption(caption))
    return [html.Figure(parts)]
