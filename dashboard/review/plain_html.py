"""Components as HTML text, every text and attribute escaped. Pure.

A review page holds a thousand elements that never change by themselves. Dash's renderer gives each
a state of its own and took seconds for them; a browser takes milliseconds for their HTML.
"""

from __future__ import annotations

from html import escape
from typing import Any

from markupsafe import Markup

ATTRIBUTES = {
    "className": "class",
    "htmlFor": "for",
    "colSpan": "colspan",
    "tabIndex": "tabindex",
    "inputMode": "inputmode",
    "autoComplete": "autocomplete",
}
"""Names that differ between components and HTML."""

TAGS = {("dash_core_components", "Link"): "a", ("dash_core_components", "Input"): "input"}
VOID = {"input"}


def written(part: Any) -> str:
    """Write a component, a text, a number or a list of such as HTML.

    What is ``Markup`` is HTML already: only pictures of our own are.

    Raises
    ------
    TypeError
        If it is a component that has no HTML of its own.

    Examples
    --------
    >>> from dash import html
    >>> written(html.P(["1 < 2", html.B("&")], className="n", title='"'))
    '<p class="n" title="&quot;">1 &lt; 2<b>&amp;</b></p>'
    """
    if part is None:
        return ""
    if isinstance(part, Markup):
        return str(part)
    if isinstance(part, str | int | float):
        return escape(str(part))
    if isinstance(part, list | tuple):
        return "".join(map(written, part))
    told = part.to_plotly_json()
    space, kind = told["namespace"], told["type"]
    if space == "dash_html_components":
        tag = kind.lower()
    elif (space, kind) in TAGS:
        tag = TAGS[space, kind]
    else:
        raise TypeError(f"{kind} has no HTML of its own")
    attributes = "".join(
        _attribute(name, value) for name, value in told["props"].items() if name != "children"
    )
    if tag in VOID:
        return f"<{tag}{attributes}>"
    return f"<{tag}{attributes}>{written(told['props'].get('children'))}</{tag}>"


def _attribute(name: str, value: Any) -> str:
    if value is None or value is False:
        return ""
    name = ATTRIBUTES.get(name, name)
    return f" {name}" if value is True else f' {name}="{escape(str(value))}"'
