"""The command: which address, which folder, then serve until told to stop."""

from __future__ import annotations

import asyncio
import socket
import sys
from pathlib import Path

import click
import segno
import uvicorn
from platformdirs import user_documents_path

from dashboard.app import create_app, wake
from dashboard.gate import Gate
from dashboard.pairing import Pairing
from dashboard.services import Services, Settings

DEFAULT_PORT = 8765
GOODBYE_S = 2


@click.command(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--lan", is_flag=True, help="Let phones and tablets in the same network look on.")
@click.option("--address", metavar="IP", help="This computer's address in that network.")
@click.option("--port", default=DEFAULT_PORT, show_default=True, help="Port to serve at.")
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where recordings and logs are kept; Documents/imujump by default.",
)
@click.option(
    "--recordings",
    "recordings_folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder of recordings to replay.",
)
@click.option("--pace", default=1.0, show_default=True, help="Pace of replays; 2 is twice as fast.")
@click.option(
    "--worn",
    "worn_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Recording that emulated sensors play.",
)
@click.option(
    "--store",
    metavar="PLACE",
    help="Store of sessions, a file or a server's address; your own by default.",
)
@click.option(
    "--certificate",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="TLS certificate (PEM); give --key as well.",
)
@click.option(
    "--key",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The certificate's private key (PEM).",
)
@click.version_option(package_name="imujump", message="%(prog)s %(version)s")
def main(
    lan: bool,
    address: str | None,
    port: int,
    folder: Path | None,
    recordings_folder: Path | None,
    pace: float,
    worn_file: Path | None,
    store: str | None,
    certificate: Path | None,
    key: Path | None,
) -> None:
    """Serve the pages for a browser: open the printed address; stop with Ctrl-C.

    Only this computer is served, unless you say --lan: then an address and a one-time pairing
    code are printed, as text and as a picture for the camera.
    """
    if (certificate is None) != (key is None):
        raise click.UsageError("--certificate and --key belong together; give both.")
    if address is not None and not lan:
        raise click.UsageError("--address needs --lan.")
    if not pace > 0.0:
        raise click.UsageError("--pace must be above 0.")
    scheme = "http" if certificate is None else "https"
    shown = f"{scheme}://{address or _own_address()}:{port}" if lan else None
    kept = folder or user_documents_path() / "imujump"
    paths = () if recordings_folder is None else sorted(recordings_folder.glob("*.imujump"))
    settings = Settings(kept, tuple(paths), pace, worn_file, shown, store)
    try:
        kept.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        click.echo(f"{kept}: {error.strerror}; choose another with --folder.", err=True)
        sys.exit(1)
    click.echo(f"Courtside page: {scheme}://127.0.0.1:{port}")
    asyncio.run(_serve(settings, port, certificate, key))


async def _serve(settings: Settings, port: int, certificate: Path | None, key: Path | None) -> None:
    services: Services | None = None

    def announce(code: str) -> None:
        if settings.address is not None:
            _print_invitation(settings.address, code)
            if services is not None:
                services.invitation_changed()

    pairing = Pairing(settings.folder / "viewers.json", announce)
    services = Services(settings, pairing)
    app = create_app(services)
    names = ["127.0.0.1", "localhost", "[::1]"]
    if settings.address is not None:
        names += [settings.address.split("//")[1].rsplit(":", 1)[0], socket.gethostname()]
        pairing.code  # noqa: B018 - draws and announces the first one
    gate = Gate(app.server, [f"{name}:{port}" for name in names], pairing, certificate is not None)
    config = uvicorn.Config(
        gate,
        host="0.0.0.0" if settings.address is not None else "127.0.0.1",
        port=port,
        log_level="warning",
        access_log=False,
        # Whoever sends X-Forwarded-For must not pass for a browser on this computer.
        proxy_headers=False,
        server_header=False,
        ws_max_size=1 << 16,
        ssl_certfile=certificate,
        ssl_keyfile=key,
        timeout_graceful_shutdown=GOODBYE_S,
    )
    await wake(app)
    services.open()
    try:
        await uvicorn.Server(config).serve()
    finally:
        await services.close()


def _own_address() -> str:
    """Return this computer's address in the local network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # 192.0.2.0/24 is for documentation (RFC 5737); connecting only picks a route.
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            raise click.ClickException(
                "This computer has no network address; join the Wi-Fi or give --address."
            ) from None


def _print_invitation(address: str, code: str) -> None:
    click.echo(f"\nOther devices: {address}/pair\nCode, good once: {code}")
    segno.make(f"{address}/pair#{code}", error="m").terminal(compact=True)
