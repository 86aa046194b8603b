"""Poses of upright figures: positions of hands and feet.

Hands are relative to the neck joint, in arm lengths; feet relative to the hip, in leg lengths. The far limb comes
first; figures face right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

Pair = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Pose:
    """A pose.

    Parameters
    ----------
    hands, feet : positions, far and near.
    lean : degrees forward.
    head : degrees, added to the head's turn; positive looks up.
    elbows : which way each elbow bends: 1 to the left of the way from shoulder to hand.
    forward : the knees bend forward; otherwise the legs are almost straight.
    toes : degrees, of each foot; positive points up.
    one_skin : torso and legs of an animal may share one outline.
    lying : final rotation of the whole figure, degrees.
    """

    hands: Pair = ((-0.5, -0.72), (0.5, -0.72))
    feet: Pair = ((-0.16, -1.0), (0.16, -1.0))
    lean: float = 0.0
    head: float = 0.0
    elbows: tuple[float, float] = (-1.0, 1.0)
    forward: bool = False
    toes: tuple[float, float] = (0.0, 0.0)
    one_skin: bool = True
    lying: float = 0.0

    def holding(self, far: tuple[float, float] | None = None, near: tuple[float, float] | None = None) -> Pose:
        """The pose with other hand positions."""
        return replace(self, hands=(far or self.hands[0], near or self.hands[1]))


_SEATED: Final = ((0.62, -0.72), (0.72, -0.78))

POSES: Final[dict[str, Pose]] = {
    "stand": Pose(),
    "hold": Pose(hands=((-0.5, -0.72), (0.62, -0.3)), elbows=(-1, -1)),
    "carry": Pose(hands=((0.35, -0.42), (0.62, -0.5)), elbows=(-1, -1)),
    "present": Pose(hands=((-0.5, -0.72), (0.85, -0.1)), elbows=(-1, -1)),
    "read": Pose(hands=((0.3, -0.38), (0.62, -0.42)), elbows=(-1, -1), head=-8),
    "up": Pose(hands=((-0.62, 0.62), (0.62, 0.62)), elbows=(1, -1)),
    "wave": Pose(hands=((-0.5, -0.72), (0.8, 0.42)), elbows=(-1, -1), head=4),
    "overhead": Pose(hands=((-0.55, 0.9), (0.6, 0.9)), elbows=(1, -1), feet=((-0.25, -0.96), (0.25, -0.96))),
    "aim": Pose(hands=((0.6, -0.08), (0.95, -0.12)), elbows=(-1, -1)),
    "walk": Pose(
        hands=((0.3, -0.78), (-0.42, -0.72)), feet=((0.42, -0.95), (-0.42, -0.9)), lean=4, elbows=(-1, 1),
        forward=True, toes=(12, -25), one_skin=True,
    ),
    "run": Pose(
        hands=((0.62, -0.25), (-0.55, -0.45)), feet=((0.7, -0.75), (-0.75, -0.55)), lean=14, elbows=(-1, 1),
        forward=True, toes=(15, -60), one_skin=True,
    ),
    "push": Pose(
        hands=((0.75, -0.4), (0.85, -0.42)), feet=((0.2, -0.92), (-0.6, -0.8)), lean=16, elbows=(-1, -1),
        forward=True, toes=(0, -20),
    ),
    "pull": Pose(
        hands=((0.7, -0.45), (0.8, -0.5)), feet=((0.55, -0.82), (-0.1, -0.9)), lean=-16, elbows=(-1, -1), forward=True,
    ),
    "sit": Pose(hands=((0.35, -0.75), (0.5, -0.8)), feet=_SEATED, elbows=(-1, -1), forward=True, one_skin=True),
    "sit_hold": Pose(hands=((0.35, -0.75), (0.62, -0.34)), feet=_SEATED, elbows=(-1, -1), forward=True),
    "sit_read": Pose(hands=((0.34, -0.44), (0.66, -0.48)), feet=_SEATED, elbows=(-1, -1), forward=True, head=-8),
    "ride": Pose(
        hands=((0.6, -0.62), (0.72, -0.66)), feet=((0.32, -0.74), (0.1, -0.8)), elbows=(-1, -1), forward=True, lean=6
    ),
    "pedal": Pose(
        hands=((0.7, -0.45), (0.9, -0.5)), feet=((0.42, -0.62), (0.12, -0.95)), elbows=(-1, -1), forward=True, lean=10
    ),
    "balance": Pose(
        hands=((-0.98, -0.1), (0.98, 0.0)), feet=((0.38, -0.66), (0.08, -0.95)), elbows=(1, -1), forward=True
    ),
    "dance": Pose(
        hands=((-0.75, 0.5), (0.8, -0.1)), feet=((-0.1, -1.0), (0.62, -0.62)), elbows=(1, -1), forward=True,
        toes=(0, 20), lean=-6, head=6,
    ),
    "ballet": Pose(
        hands=((-0.3, 0.85), (0.3, 0.85)), feet=((0.02, -1.0), (-0.75, -0.45)), elbows=(1, -1), forward=False,
        toes=(-60, 200),
    ),
    "jump": Pose(
        hands=((-0.7, 0.55), (0.75, 0.6)), feet=((-0.35, -0.62), (0.5, -0.55)), elbows=(1, -1), forward=True,
        toes=(-30, 15),
    ),
    "box": Pose(hands=((0.5, -0.2), (0.95, -0.06)), feet=((-0.3, -0.95), (0.3, -0.95)), elbows=(-1, -1), lean=4),
    "violin": Pose(hands=((0.72, -0.12), (0.35, -0.34)), elbows=(-1, -1), head=-6),
    "guitar": Pose(hands=((0.78, -0.38), (0.05, -0.72)), elbows=(-1, 1)),
    "blow": Pose(hands=((0.42, 0.02), (0.7, 0.06)), elbows=(-1, -1), head=4),
    "flute": Pose(hands=((0.4, 0.06), (0.72, 0.04)), elbows=(-1, -1)),
    "keys": Pose(hands=((0.7, -0.55), (0.85, -0.5)), feet=_SEATED, elbows=(-1, -1), forward=True),
    "drum": Pose(hands=((0.7, 0.16), (0.92, 0.1)), elbows=(-1, -1)),
    "cello": Pose(
        hands=((0.34, 0.0), (0.5, -0.72)), feet=((0.45, -0.72), (0.85, -0.72)), elbows=(-1, -1), forward=True
    ),
    "paint": Pose(hands=((-0.35, -0.62), (0.9, -0.08)), elbows=(-1, -1)),
    "fish": Pose(hands=((0.5, -0.42), (0.72, -0.36)), elbows=(-1, -1)),
    "eat": Pose(hands=((-0.5, -0.72), (0.42, -0.02)), elbows=(-1, -1)),
    "sight": Pose(hands=((0.7, 0.2), (0.86, 0.24)), elbows=(-1, -1)),
    "look": Pose(hands=((-0.5, -0.72), (0.55, 0.12)), elbows=(-1, -1)),
    "juggle": Pose(hands=((-0.55, -0.3), (0.62, -0.3)), elbows=(1, -1), head=10),
    "lift": Pose(hands=((-0.55, 0.72), (0.55, 0.72)), elbows=(1, -1), feet=((-0.35, -0.92), (0.35, -0.92))),
    "throw": Pose(
        hands=((0.7, -0.3), (-0.5, 0.5)), feet=((0.45, -0.88), (-0.3, -0.95)), lean=-10, elbows=(-1, 1), forward=True
    ),
    "kick": Pose(hands=((-0.75, -0.2), (0.5, -0.4)), feet=((-0.1, -1.0), (0.85, -0.5)), lean=-10, forward=True,
                 toes=(0, 35)),
    "dig": Pose(hands=((0.45, -0.75), (0.62, -0.35)), feet=((0.35, -0.9), (-0.3, -0.95)), lean=16, elbows=(-1, -1),
                forward=True),
    "row": Pose(hands=((0.65, -0.55), (0.72, -0.6)), feet=((0.75, -0.3), (0.85, -0.32)), lean=8, elbows=(-1, -1),
                forward=True),
    "kneel": Pose(hands=((0.3, -0.7), (0.55, -0.6)), feet=((-0.3, -0.52), (0.45, -0.52)), elbows=(-1, -1),
                  forward=True),
    "fly": Pose(hands=((0.9, 0.3), (1.0, 0.45)), feet=((-0.12, -1.0), (0.14, -1.0)), lying=-72, elbows=(1, -1),
                head=40),
    "swim": Pose(hands=((0.5, 0.75), (0.1, -0.8)), feet=((-0.25, -0.95), (0.25, -0.95)), lying=-82, elbows=(1, -1),
                 head=45),
    "lie": Pose(hands=((-0.2, -0.78), (0.35, -0.7)), feet=((-0.12, -1.0), (0.14, -1.0)), lying=90),
    "climb": Pose(hands=((0.62, 0.55), (0.5, 0.1)), feet=((0.3, -0.95), (0.45, -0.5)), elbows=(-1, -1), forward=True),
    "hang": Pose(hands=((-0.3, 0.98), (0.3, 0.98)), feet=((-0.2, -0.98), (0.22, -0.92)), elbows=(1, -1)),
    "handstand": Pose(hands=((-0.26, 0.98), (0.3, 0.98)), feet=((-0.62, -0.78), (0.7, -0.7)), elbows=(1, -1),
                      toes=(-40, -40), lying=180, head=20),
    "fold": Pose(hands=((0.3, -0.45), (0.12, -0.4)), elbows=(-1, 1)),
    "think": Pose(hands=((-0.35, -0.55), (0.34, -0.02)), elbows=(-1, -1)),
    "conduct": Pose(hands=((-0.75, 0.3), (0.8, 0.35)), elbows=(1, -1)),
    "broom": Pose(hands=((0.25, -0.5), (0.62, -0.62)), elbows=(-1, -1), lean=6),
}  # fmt: skip
