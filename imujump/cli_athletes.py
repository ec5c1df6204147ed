"""The command that lists athletes, adds them, and notes what is known of them."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import click

from imujump.cli_options import store_option
from imujump.cli_store import known_athlete, opened
from imujump.screen_table import show_table, shown

if TYPE_CHECKING:
    from imujump.sessions.store import SessionStore

DAY = click.DateTime(["%Y-%m-%d"])


@click.command()
@click.option("--add", "added", metavar="NAME", help="Add this athlete.")
@click.option("--edit", "edited", metavar="NAME", help="Change what is noted of this athlete.")
@click.option("--name", "new_name", metavar="NAME", help="Another name.")
@click.option("--born", "birth_year", type=int, metavar="YEAR", help="Year of birth.")
@click.option("--stature", "stature_cm", type=float, metavar="CM", help="Body height.")
@click.option("--leg", "leg_cm", type=float, metavar="CM", help="Leg length, hip to floor.")
@click.option("--side", type=click.Choice(["left", "right"]), help="Preferred take-off foot.")
@click.option("--mass", "mass_kg", type=float, metavar="KG", help="Body mass.")
@click.option("--on", "on", type=DAY, metavar="YYYY-MM-DD", help="Day of the body mass; today.")
@click.option(
    "--consent", type=DAY, metavar="YYYY-MM-DD", help="Day on which a minor's guardian agreed."
)
@store_option
def athletes(
    added: str | None,
    edited: str | None,
    place_of_store: str | None,
    on: datetime | None,
    mass_kg: float | None,
    **facts: Any,
) -> None:
    """List athletes, add one, or change what is noted of one.

    Results of a minor are kept only once a guardian's consent is noted.

    \b
    Examples:
      imujump athletes
      imujump athletes --add "Ada Bell" --born 2009 --stature 172 --consent 2026-01-15
      imujump athletes --edit "Ada Bell" --mass 61.5 --on 2026-03-01
    """  # noqa: D301 - \b is click's sign for lines kept as they are
    told_facts = _facts(**facts)
    if (added or edited) is None:
        if told_facts or mass_kg is not None or on is not None:
            raise click.UsageError("Say of whom: --add NAME or --edit NAME.")
        with opened(place_of_store) as store:
            _list_athletes(store)
        return
    if added is not None and edited is not None:
        raise click.UsageError("--add and --edit exclude each other; choose one.")
    with opened(place_of_store) as store:
        from imujump.sessions.records import BodyMeasure

        if added is not None:
            athlete = store.add_athlete(**({"name": added} | told_facts))
        else:
            assert edited is not None
            athlete = store.change_athlete(known_athlete(store, edited).athlete_id, **told_facts)
        if mass_kg is not None:
            day = date.today() if on is None else on.date()  # noqa: DTZ011 - the user's day
            store.add_body_measure(athlete.athlete_id, BodyMeasure(day, mass_kg, athlete.stature_m))
        click.echo(shown(f"{athlete.name}: noted."))


def _facts(
    new_name: str | None,
    birth_year: int | None,
    stature_cm: float | None,
    leg_cm: float | None,
    side: str | None,
    consent: datetime | None,
) -> dict[str, Any]:
    told_facts = {
        "name": new_name,
        "birth_year": birth_year,
        "stature_m": None if stature_cm is None else stature_cm / 100.0,
        "leg_length_m": None if leg_cm is None else leg_cm / 100.0,
        "take_off_side": side,
        "guardian_consent_on": None if consent is None else consent.date(),
    }
    return {name: value for name, value in told_facts.items() if value is not None}


def _list_athletes(store: SessionStore) -> None:
    everybody = store.athletes()
    if not everybody:
        click.echo('No athlete yet. Add one with imujump athletes --add "NAME".')
        return
    sessions = [overview.session.athlete_id for overview in store.sessions()]
    rows = []
    for athlete in everybody:
        measures = store.body_measures(athlete.athlete_id)
        newest = measures[-1] if measures else None
        rows.append(
            (
                athlete.name,
                _text(athlete.birth_year),
                _cm(athlete.stature_m),
                "" if newest is None else f"{newest.mass_kg:g} ({newest.on})",
                _cm(athlete.leg_length_m),
                _text(athlete.take_off_side),
                _text(athlete.guardian_consent_on),
                str(sessions.count(athlete.athlete_id)),
            )
        )
    heads = ("name", "born", "cm", "kg (on)", "leg cm", "side", "consent", "sessions")
    show_table(heads, rows)


def _text(value: object) -> str:
    return "" if value is None else str(value)


def _cm(length_m: float | None) -> str:
    return "" if length_m is None else f"{100.0 * length_m:.0f}"
