"""What the demo roastery blended, packed and sent: a run a week, one of them under way."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PACKS", "RUNS", "RunPlan"]

# Blend key, grams, GTIN below the prefix 952 that GS1 keeps for demonstrations, bags in a box.
PACKS = (
    ("R", 250, "09521234000013", 12),
    ("R", 1_000, "09521234000020", 6),
    ("S", 250, "09521234000037", 12),
    ("S", 1_000, "", None),
)


@dataclass(frozen=True, slots=True)
class RunPlan:
    """One run.

    ``bags`` are bags packed by size, ``sent`` who got how many of which size how many days later;
    ``off_g`` is by how much the first weighing of the run missed its plan.
    """

    days_ago: int
    recipe: tuple[str, int]
    total_g: int
    bags: tuple[tuple[int, int], ...]
    sent: tuple[tuple[int, str, int, int], ...] = ()
    lost_g: int = 0
    missing_g: int = 0
    off_g: int = 0
    use_rest: bool = False
    closed: bool = True
    returned: tuple[str, int, int, str] | None = None


RUNS = (
    RunPlan(
        66, ("R", 1), 15_000, ((1_000, 12), (250, 10)),
        ((1, "Yard counter", 1_000, 5), (1, "Ferry Steps kiosk", 1_000, 4),
         (2, "Harbour larder", 250, 10), (3, "Lantern Row", 1_000, 3)),
        lost_g=60,
    ),
    RunPlan(
        59, ("R", 1), 14_000, ((1_000, 10), (250, 14)),
        ((1, "Yard counter", 1_000, 6), (2, "Mill Lane bakehouse", 1_000, 4),
         (2, "Harbour larder", 250, 14)),
        lost_g=40, missing_g=30, use_rest=True,
    ),
    RunPlan(
        52, ("R", 1), 14_000, ((1_000, 12), (250, 6)),
        ((1, "Yard counter", 1_000, 6), (1, "Quay house", 1_000, 6),
         (2, "Harbour larder", 250, 6)),
        lost_g=50,
    ),
    RunPlan(
        40, ("R", 2), 15_000, ((1_000, 12), (250, 10)),
        ((1, "Yard counter", 1_000, 6), (1, "Lantern Row", 1_000, 6),
         (3, "Harbour larder", 250, 10)),
        lost_g=70, missing_g=-20, use_rest=True,
    ),
    RunPlan(
        33, ("R", 2), 14_000, ((1_000, 11), (250, 10)),
        ((1, "Ferry Steps kiosk", 1_000, 5), (1, "Quay house", 1_000, 6),
         (2, "Harbour larder", 250, 10)),
        lost_g=45, off_g=40,
        returned=("Quay house", 1_000, 2, "Delivered twice"),
    ),
    RunPlan(
        26, ("R", 2), 15_000, ((1_000, 12), (250, 8)),
        ((1, "Yard counter", 1_000, 7), (1, "Mill Lane bakehouse", 1_000, 5),
         (2, "Harbour larder", 250, 8)),
        lost_g=55, use_rest=True,
    ),
    RunPlan(
        19, ("R", 2), 16_000, ((1_000, 13), (250, 10)),
        ((1, "Yard counter", 1_000, 6), (1, "Lantern Row", 1_000, 5),
         (2, "Harbour larder", 250, 10)),
        lost_g=60,
    ),
    RunPlan(
        12, ("S", 1), 6_000, ((250, 20), (1_000, 1)),
        ((1, "Harbour larder", 250, 14), (2, "Yard counter", 1_000, 1)),
        lost_g=0,
    ),
    RunPlan(
        9, ("R", 2), 11_000, ((1_000, 9), (250, 6)),
        ((1, "Ferry Steps kiosk", 1_000, 4), (1, "Quay house", 1_000, 3)),
        lost_g=40, use_rest=True,
    ),
    RunPlan(1, ("R", 2), 9_000, ((250, 8),), closed=False, off_g=70),
)  # fmt: skip
