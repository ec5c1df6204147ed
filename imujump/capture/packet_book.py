"""The books of one sensor's packets: which came, came twice, came again, are missing, are lost."""

from __future__ import annotations

from collections import deque

from imujump.capture.link_profile import LinkProfile
from imujump.recording.packets import sample_count
from imujump.recording.sequence import Arrival, MissingNumbers, PacketNumbers, has_sequence

RATE_SPAN_S = 5.0
"""Stretch over which the rate is measured (own choice)."""


class PacketBook:
    """Enters packets as they come; pure.

    Parameters
    ----------
    profile : LinkProfile
        The sensor's profile, at its rate.

    Attributes
    ----------
    packets, recovered, doubled, lost, unfit : int
        Kept in all; of these sent again; left out as known; given up; of a wrong length.
    missing : MissingNumbers
        What is still awaited.
    """

    def __init__(self, profile: LinkProfile) -> None:
        self.packets = self.recovered = self.doubled = self.lost = self.unfit = 0
        self.missing = MissingNumbers()
        self._packet = profile.packet
        self._numbers = PacketNumbers(profile.packet) if has_sequence(profile.packet) else None
        self._refills = profile.can_replay
        self._recent: deque[tuple[float, int]] = deque()

    def begin(self, next_packet: int | None, time_s: float) -> None:
        """Begin a new count: the first link, or the first after a reboot."""
        # All that is made from now on is wanted, whether or not the first packets get here.
        self.missing = MissingNumbers(next_packet)
        if self._numbers is not None:
            self._numbers.restart(next_packet, time_s)

    def enter(self, data: bytes, arrival_s: float) -> Arrival:
        """Enter a packet; a known one is not to be handed on."""
        samples = sample_count(self._packet, len(data))
        if samples is None:
            self.unfit += 1
        arrival = Arrival.NEW
        if self._numbers is not None and (raw := self._numbers.raw(data)) is not None:
            arrival = self.missing.arrive(self._numbers.number(raw, arrival_s))
        if arrival is Arrival.KNOWN:
            self.doubled += 1
            return arrival
        self.packets += 1
        if arrival is Arrival.FILLED:
            self.recovered += 1
        elif samples is not None:
            self._recent.append((arrival_s, samples))
            while self._recent[0][0] < arrival_s - RATE_SPAN_S:
                self._recent.popleft()
        return arrival

    def give_up(self, first: int, last: int) -> int:
        """Count missing packets as lost; return how many."""
        count = self.missing.give_up(first, last)
        self.lost += count
        return count

    def rate_hz(self, now_s: float) -> float | None:
        """Samples a second over the last stretch; None until a second of it is there."""
        recent = [entry for entry in self._recent if entry[0] >= now_s - RATE_SPAN_S]
        if len(recent) < 2 or recent[-1][0] - recent[0][0] < 1.0:
            return 0.0 if self.packets and not recent else None
        span_s = max(recent[-1][0], now_s - 0.5) - recent[0][0]
        return sum(samples for _, samples in recent[1:]) / span_s
