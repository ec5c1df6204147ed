"""Words about how much was jumped: caution, and what the sources say and where they disagree."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from imujump.answers_in_words import count
from imujump.display_units import CENTIMETRES, display_value
from imujump.sessions.load import WeekLoad


@dataclass(frozen=True, slots=True)
class Source:
    """A finding with where it stands; ``seen`` tells whether it was read there."""

    finding: str
    where: str
    seen: bool = True


CAUTION = (
    "Counts only: how much is too much differs from athlete to athlete, and no number here says. "
    "Sources disagree on whether jump load goes with knee complaints. "
    "Pain or a recent injury is for a clinician to judge."
)

SOURCES = (
    Source(
        "28 of 141 youth players developed jumper's knee; risk rose with weekly hours and sets.",
        "Visnes and Bahr, 2013",
    ),
    Source(
        "No certain link of weekly jump load to knee complaints in 65 elite men, "
        "21 088 player-days.",
        "Scand J Med Sci Sports, 2024 (PubMed 38671558)",
    ),
    Source(
        "Elite men made 269 jumps a week on average in preseason.",
        "doi 10.1111/sms.13428",
    ),
    Source(
        "Youth players made 50 to 666 (boys) and 11 to 251 (girls) jumps a week in training.",
        "Bahr, 2014, doi 10.1136/bjsports-2014-093593",
    ),
    Source(
        "In 18 of 28 weeks of a professional season some player had a twofold rise "
        "or came back from none.",
        "Skazalski, 2018",
    ),
    Source(
        "Players with tendon trouble jumped better, lifted more and weighed more.",
        "doi 10.1177/03635465030310031401",
    ),
)
"""What the caution rests on; the first two disagree. Read in abstracts."""


def band_names(edges_m: tuple[float, ...]) -> tuple[str, ...]:
    """Name the bands of height, lowest first.

    >>> band_names((0.25, 0.45))
    ('below 25 cm', '25 to 45 cm', '45 cm and above')
    """
    told = [display_value(edge, CENTIMETRES, 0) for edge in edges_m]
    if not told:
        return ("all heights",)
    middle = [f"{low} to {high} cm" for low, high in pairwise(told)]
    return (f"below {told[0]} cm", *middle, f"{told[-1]} cm and above")


def week_sentence(week: WeekLoad) -> str:
    """Say how much was jumped in a week, against the weeks before."""
    _, number = week.iso
    told = f"Week {number}: {count(week.bands.jumps, 'jump')} in {count(week.sessions, 'session')}"
    if week.recent_mean is None:
        return f"{told}; no week before it."
    mean = f"{week.recent_mean:.0f} a week in the weeks before"
    if not week.over:
        return f"{told} so far; {mean}."
    if week.change_ratio is None:
        return f"{told}; none in the weeks before."
    if round(100.0 * week.change_ratio) == 0:
        return f"{told}; as many as in the weeks before."
    more = "more" if week.change_ratio > 0.0 else "fewer"
    return f"{told}; {abs(100.0 * week.change_ratio):.0f} % {more} than {mean}."
