"""Blocks strung together to one long motion."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Protocol

import numpy as np

from imujump.simulate.athlete import ApproachJump, write_jump
from imujump.simulate.body import Body
from imujump.simulate.motion import Motion
from imujump.simulate.script import Label, Script


class Block(Protocol):
    """A piece of movement that starts and ends in quiet standing."""

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block into the script."""
        ...


def compose(
    blocks: Iterable[Block | ApproachJump],
    generator: np.random.Generator,
    *,
    body: Body | None = None,
    stance_half_m: float = 0.11,
) -> Motion:
    """Join blocks to one motion; place and heading carry on from block to block.

    Parameters
    ----------
    blocks : iterable of blocks
        Approach jumps and the blocks of :mod:`imujump.simulate.movements`.
    generator : numpy.random.Generator
        Source of sway and of sides not chosen.
    body : Body, optional
        The athlete's measures.
    stance_half_m : float
        Half the distance between the ankles in standing.

    Returns
    -------
    Motion
        Its :attr:`~imujump.simulate.motion.Motion.jumps` list every approach jump.

    Examples
    --------
    >>> from imujump.simulate.movements import Stand, Walk
    >>> motion = compose([Stand(2.0), Walk(4.0)], np.random.default_rng(0))
    >>> motion.duration_s > 4.0
    True
    """
    script = Script(Body() if body is None else body, stance_half_m=stance_half_m)
    for block in blocks:
        start = script.time_s
        if isinstance(block, ApproachJump):
            write_jump(block, script)
        else:
            block.write(script, generator)
        script.labels.append(Label(_plain_name(block), start, script.time_s))
    return Motion(script)


def _plain_name(block: Block | ApproachJump) -> str:
    """Turn a block's class name into small words joined by underscores."""
    return re.sub(r"(?<=.)([A-Z])", r"_\1", type(block).__name__).lower()
