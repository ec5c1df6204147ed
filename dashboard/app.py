"""The app factory: pages, shell and routes around one set of services."""

from __future__ import annotations

from collections.abc import MutableMapping
from pathlib import Path
from typing import Any

from dash import Dash

from dashboard import routes, shell
from dashboard.pages import athlete, athletes, attempt, court, session, sessions, setup, trends
from dashboard.review import routes as review_routes
from dashboard.services import Services

PAGES = (setup, court, sessions, session, attempt, trends, athletes, athlete)
"""Every page; a new one is a module in ``pages/`` and a word here."""

ASSETS = Path(__file__).resolve().parent / "assets"

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{%title%}</title>
{%favicon%}
{%css%}
<script>
  const theme = localStorage.getItem("theme");
  if (theme) document.documentElement.dataset.theme = theme;
</script>
</head>
<body>
{%app_entry%}
<footer hidden>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""


def create_app(services: Services) -> Dash:
    """Build the app; one at a time in a process, since Dash's page registry is shared."""
    app = Dash(
        __name__,
        backend="fastapi",
        use_pages=True,
        pages_folder="",
        assets_folder=str(ASSETS),
        title="imujump",
        update_title="",
        index_string=INDEX,
        suppress_callback_exceptions=True,
    )
    for page in PAGES:
        page.register(app, services)
    app.layout = shell.layout
    routes.register(app, services)
    review_routes.register(app, services)
    return app


async def wake(app: Dash) -> None:
    """Ask the app for its first page once.

    Dash completes its scripts at the first request for "/"; a browser that opens another page
    before that would get one without them.
    """
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": "/",
        "raw_path": b"/",
        "root_path": "",
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1")],
        "client": ("127.0.0.1", 0),
        "server": ("127.0.0.1", 0),
    }

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        pass

    await app.server(scope, receive, send)
