"""What is done for a link while it lasts: watch, read clock and battery, refill holes."""

from __future__ import annotations

import asyncio
import contextlib

from imujump.capture.connection import SensorLink
from imujump.capture.events import StatusKind
from imujump.capture.link_state import LINKED, LinkEvent, LinkState
from imujump.capture.radio_errors import RADIO_FAULTS
from imujump.errors import BadPacketError, SensorLostError

SETTLE_S = 0.05
"""A hole is looked at once packets have kept coming for this long: its end is known then."""


async def care_for(link: SensorLink) -> None:
    """Do all that a link needs, until it ends."""
    works = {
        asyncio.create_task(work(link))
        for work in (_watch, _read_clock, _read_battery, _refill_holes)
    }
    ended = asyncio.create_task(link.ended.wait())
    pending = {ended, *works}
    try:
        while not ended.done():
            done, pending = await asyncio.wait(pending, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
    finally:
        for task in pending:
            task.cancel()
        await asyncio.gather(*pending, return_exceptions=True)


async def _watch(link: SensorLink) -> None:
    """Notice that data have stopped, sooner than an operating system does."""
    timings = link.timings
    while link.state in LINKED:
        silence_s = link.silence_s()
        if link.state is LinkState.MEASURING and silence_s > timings.stale_s:
            link.happen(LinkEvent.SILENT)
        elif link.state is LinkState.STALE and silence_s <= timings.stale_s:
            link.happen(LinkEvent.PACKET)
        elif link.state is LinkState.STALE and silence_s > timings.dead_s:
            await link.detach(LinkEvent.DEAD, f"no data for {silence_s:.1f} s")
        await asyncio.sleep(timings.watch_s)


async def _read_clock(link: SensorLink) -> None:
    """Read the clock at random moments: pings in step with the radio would all be late alike."""
    count = 0
    while link.state in LINKED and link.profile.time_uuid is not None:
        first = count < link.timings.first_pings
        mean_s = link.timings.first_ping_s if first else link.timings.ping_s
        await asyncio.sleep(mean_s * link.chance.uniform(0.5, 1.5))
        count += 1
        try:
            await link.read_clock()
        except SensorLostError:
            if link.state in LINKED:
                await link.detach(LinkEvent.REBOOTED, "the sensor restarted")
        except (BadPacketError, *RADIO_FAULTS):
            # Whether the link still serves is for the data to tell.
            pass


async def _read_battery(link: SensorLink) -> None:
    while link.state in LINKED:
        await asyncio.sleep(link.timings.battery_s)
        with contextlib.suppress(*RADIO_FAULTS):
            await link.read_battery()


async def _refill_holes(link: SensorLink) -> None:
    """Ask again for packets that were missed; give up those that the sensor has no more."""
    while link.state in LINKED:
        await link.holes.wait()
        await asyncio.sleep(SETTLE_S)
        before = link.book.recovered
        with contextlib.suppress(BadPacketError, *RADIO_FAULTS):
            await _refill(link)
            if link.book.recovered > before:
                link.tell(StatusKind.REPLAY, f"recovered={link.book.recovered - before}")
        if not link.book.missing.ranges:
            link.holes.clear()


async def _refill(link: SensorLink) -> None:
    tries = 0
    while link.book.missing.ranges:
        status = await link.talk.status()
        if link.boot_id is not None and status.get("boot_id", link.boot_id) != link.boot_id:
            return
        oldest = status.get("oldest_packet")
        if oldest is not None:
            for first, last in list(link.book.missing.ranges):
                if first < oldest:
                    link.give_up(first, min(last, oldest - 1))
        if not link.book.missing.ranges:
            return
        first, last = link.book.missing.ranges[0]
        if tries >= link.timings.replay_tries:
            link.give_up(first, last)
            tries = 0
            continue
        before = link.book.missing.count
        link.tell(StatusKind.REPLAY, f"asked={first}-{last}")
        link.last_replay_s = link.clock.now_s()
        await link.talk.command(
            "replay",
            boot_id=link.boot_id or 0,
            first_packet=first,
            packets=min(last - first + 1, 65535),
        )
        while _awaits(link, first, last):
            wait_s = link.last_replay_s + link.timings.replay_silence_s - link.clock.now_s()
            if wait_s <= 0.0:
                break
            await link.filled_within(wait_s)
        tries = 0 if link.book.missing.count < before else tries + 1


def _awaits(link: SensorLink, first: int, last: int) -> bool:
    return any(low <= last and high >= first for low, high in link.book.missing.ranges)
