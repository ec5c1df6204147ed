"""Recognises from free text on which of the three body places a sensor is worn."""

from __future__ import annotations

import re

from imujump.model import Placement

_SHANK = frozenset({"shank", "shanks", "shin", "tibia", "tibial", "calf", "ankle", "lowleg"})
_PELVIS = frozenset({"pelvis", "pelvic", "sacrum", "sacral", "lowback", "lumbar", "waist", "hips"})
_LEFT = frozenset({"left", "l", "lt", "lft"})
_RIGHT = frozenset({"right", "r", "rt", "rgt"})
# Written in one word or with a side letter in front: "leftshank", "LShank", "rtibia".
_GLUED = re.compile(
    r"(?<![a-z])(left|right|l|r)(lower|low)?(shank|shin|tibia|calf|ankle|leg)(?![a-z])"
)
_TWO_WORDS = re.compile(r"\b(?:lower|low) (leg|back)s?\b")
_SPINE = re.compile(r"\b(?:l[345]|s1)\b")


def placement_of(text: str) -> Placement | None:
    """Return the placement that a name or description speaks of, or None.

    Parameters
    ----------
    text : str
        A label such as ``left_shank``, ``LeftShank``, ``lower back`` or ``L_LowLeg``. A
        sensor at the ankle counts as worn on the shank: the ankle strap sits on its end.

    Examples
    --------
    >>> placement_of("LeftShank"), placement_of("right lower leg"), placement_of("Sacrum")
    (<Placement.LEFT_SHANK: 'left_shank'>, <Placement.RIGHT_SHANK: 'right_shank'>, \
<Placement.PELVIS: 'pelvis'>)
    >>> placement_of("left thigh"), placement_of("shank"), placement_of("left foot")
    (None, None, None)
    """
    spaced = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", text)
    spaced = re.sub(r"(?<=[A-Z])(?=[A-Z][a-z])", " ", spaced)
    plain = " ".join(re.sub(r"[^a-z0-9]+", " ", spaced.lower()).split())
    plain = re.sub(r"\blower(leg|back)", r"low\1", plain)
    plain = _TWO_WORDS.sub(r"low\1", plain)
    plain = re.sub(r"(?<=[a-z])\d+\b", "", plain) if not _SPINE.search(plain) else plain
    plain = _GLUED.sub(lambda found: f"{found[1]} shank", plain)
    words = set(plain.split())
    if words & _SHANK or ("leg" in words and "upper" not in words):
        left, right = bool(words & _LEFT), bool(words & _RIGHT)
        if left != right:
            return Placement.LEFT_SHANK if left else Placement.RIGHT_SHANK
        return None
    if words & _PELVIS or _SPINE.search(plain):
        return Placement.PELVIS
    return None
