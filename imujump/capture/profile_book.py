"""All sensor profiles that capture knows: the shipped ones and a user's own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from importlib.resources import files
from pathlib import Path

from imujump.capture.link_profile import LinkProfile, parse_link_profile, read_link_profile
from imujump.errors import RecordingError

OWN_PROFILE = "imujump_sensor.toml"
"""The profile of our own design, among the shipped ones."""


def own_profile() -> LinkProfile:
    """Return the profile of our own design.

    Examples
    --------
    >>> own_profile().name
    'imujump sensor'
    """
    return _shipped(OWN_PROFILE)


def load_profiles(extra: Sequence[Path | str] = ()) -> tuple[LinkProfile, ...]:
    """Return the user's profiles, then the shipped ones.

    Parameters
    ----------
    extra : sequence of Path or str
        Profile files, and folders of ``*.toml``.

    Raises
    ------
    RecordingError
        If one cannot be used; names the file, the line and the remedy.
    """
    own = [read_link_profile(path) for given in extra for path in _expand(Path(given))]
    names = sorted(e.name for e in files(__package__).joinpath("profiles").iterdir())
    return (*own, *(_shipped(name) for name in names if name.endswith(".toml")))


def recognise(
    profiles: Iterable[LinkProfile], name: str | None, service_uuids: Iterable[str]
) -> LinkProfile | None:
    """Return the first profile that recognises an advertisement, or None."""
    uuids = list(service_uuids)
    return next((profile for profile in profiles if profile.recognises(name, uuids)), None)


def _shipped(name: str) -> LinkProfile:
    text = files(__package__).joinpath("profiles", name).read_text(encoding="utf-8")
    return parse_link_profile(text, name)


def _expand(given: Path) -> list[Path]:
    if not given.is_dir():
        return [given]
    inside = sorted(given.glob("*.toml"))
    if not inside:
        raise RecordingError(given, "the folder holds no profile (*.toml)", "choose another")
    return inside
