"""Running packet numbers: wrapping counters set on one axis, and which numbers are missing."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from imujump.recording.packets import sample_count
from imujump.recording.profiles import PacketProfile

AHEAD_PART = 16
"""A packet may be this part of a counter's turn ahead of where time expects it; all the rest of
the turn lies behind, for packets sent again (own choice: 3 min ahead and 51 behind for 16 bits
at 20 packets a second)."""


class PacketNumbers:
    """Reads the packet number from a packet's bytes and undoes its wrapping.

    Parameters
    ----------
    profile : PacketProfile
        The sensor's packet layout; it must have ``sequence`` in its header.

    Notes
    -----
    How far a counter went during a silence is told by the clock: the number nearest below the
    one that is due now is taken.
    """

    def __init__(self, profile: PacketProfile) -> None:
        if not has_sequence(profile):
            raise ValueError(f"the profile {profile.name!r} has no sequence field, must have one")
        kind = profile.header["sequence"]
        self._profile = profile
        self._at = slice(offset := _offset(profile), offset + kind.itemsize)
        self._big = kind.byteorder == ">"
        self._turn = 1 << 8 * kind.itemsize
        self._highest: int | None = None
        self._highest_s = 0.0
        self._packet_s = 1.0 / profile.rate_hz

    def restart(self, next_number: int | None = None, time_s: float = 0.0) -> None:
        """Begin a new count, from a number that is known to be next, if any is."""
        self._highest = None if next_number is None else next_number - 1
        self._highest_s = time_s

    def raw(self, data: bytes) -> int | None:
        """Return the number as sent, or None if the bytes are no packet of this profile."""
        samples = sample_count(self._profile, len(data))
        if samples is None:
            return None
        self._packet_s = samples / self._profile.rate_hz
        return int.from_bytes(data[self._at], "big" if self._big else "little")

    def follows(self, raw: int) -> bool:
        """Tell whether a number as sent is the one after the highest so far."""
        return self._highest is not None and (raw - self._highest - 1) % self._turn == 0

    def number(self, raw: int, arrival_s: float) -> int:
        """Return the unwrapped number of a packet, and remember it if it is the highest."""
        if self._highest is None:
            self._highest, self._highest_s = raw, arrival_s
            return raw
        number = self.placed(raw, arrival_s)
        if number > self._highest:
            self._highest, self._highest_s = number, arrival_s
        return number

    def placed(self, raw: int, time_s: float) -> int:
        """Return the unwrapped number for one as sent (or one of another count's axis)."""
        if self._highest is None:
            return raw
        due = self._highest + int(max(time_s - self._highest_s, 0.0) / self._packet_s)
        ceiling = due + self._turn // AHEAD_PART
        return ceiling - (ceiling - raw) % self._turn

    def due_s(self, number: int) -> float:
        """Return when a packet would have arrived, told by the highest number's arrival."""
        highest = number if self._highest is None else self._highest
        return self._highest_s + (number - highest) * self._packet_s

    def advance(self, count: int, arrival_s: float) -> None:
        """Count packets that follow each other without a hole, the last at ``arrival_s``."""
        if self._highest is None:
            raise ValueError("no packet has been numbered yet, must have been")
        self._highest, self._highest_s = self._highest + count, arrival_s


def has_sequence(profile: PacketProfile) -> bool:
    """Tell whether a profile's packets carry a running number."""
    return "sequence" in (profile.header.names or ())


def _offset(profile: PacketProfile) -> int:
    fields = profile.header.fields
    assert fields is not None
    return int(fields["sequence"][1])


class Arrival(Enum):
    """What the arrival of a number means."""

    NEW = "new"
    FILLED = "filled"
    KNOWN = "known"


@dataclass(slots=True)
class MissingNumbers:
    """Which numbers have been passed over and not been given up.

    ``next`` is one above the highest number that arrived, None before the first; ``ranges``
    holds (first, last) of each hole, ascending.

    Examples
    --------
    >>> missing = MissingNumbers()
    >>> [missing.arrive(n).value for n in (5, 6, 9, 8, 8)]
    ['new', 'new', 'new', 'filled', 'known']
    >>> missing.ranges, missing.complete_below
    ([(7, 7)], 7)
    >>> missing.give_up(0, 7), missing.complete_below
    (1, 10)
    """

    next: int | None = None
    ranges: list[tuple[int, int]] = field(default_factory=list)

    @property
    def complete_below(self) -> int:
        """Number below which nothing is awaited any more."""
        return self.ranges[0][0] if self.ranges else (self.next or 0)

    @property
    def count(self) -> int:
        """How many numbers are missing."""
        return sum(last - first + 1 for first, last in self.ranges)

    def arrive(self, number: int) -> Arrival:
        """Enter a number that arrived."""
        if self.next is None or number >= self.next:
            if self.next is not None and number > self.next:
                self.ranges.append((self.next, number - 1))
            self.next = number + 1
            return Arrival.NEW
        return Arrival.FILLED if self.give_up(number, number) else Arrival.KNOWN

    def expect(self, following: int) -> None:
        """Await everything below a number, though nothing from there on has come."""
        if self.next is not None and following > self.next:
            self.ranges.append((self.next, following - 1))
            self.next = following

    def give_up(self, first: int, last: int) -> int:
        """Await the numbers first to last no longer; return how many of them were missing.

        Numbers that have not been passed over yet count as missing too: later ones may come
        before anything shows the hole.
        """
        kept = []
        gone = 0
        self.expect(last + 1)
        for low, high in self.ranges:
            if high < first or low > last:
                kept.append((low, high))
                continue
            gone += min(high, last) - max(low, first) + 1
            if low < first:
                kept.append((low, first - 1))
            if high > last:
                kept.append((last + 1, high))
        self.ranges = kept
        return gone
