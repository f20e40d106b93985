"""Numbers and lists as these pages say them."""

from __future__ import annotations

from collections.abc import Sequence

from coupage.panel import Beliefs
from coupage.web.cuppings.models import Attribute

__all__ = ["chance_text", "joined", "settings_text", "signed"]


# What a prior is called, and its field.
_PRIORS = (
    ("coffee", "coffee"),
    ("pairing", "pairing"),
    ("batch", "batch"),
    ("taster", "taster"),
    ("day", "cupping"),
    ("cup", "noise"),
)


def chance_text(chance: float) -> str:
    r"""Write a chance; near 0 and 1 say so instead of rounding to certainty. It does not break.

    >>> [chance_text(p).replace("\xa0", " ") for p in (0.934, 0.9999, 0.001)]
    ['93 %', 'over 99 %', 'under 1 %']
    """
    if chance > 0.995:
        text = "over 99 %"
    elif chance < 0.005:
        text = "under 1 %"
    else:
        text = f"{100 * chance:.0f} %"
    return text.replace(" ", "\xa0")


def signed(points: float) -> str:
    """Write a difference with its sign; what rounds to nothing has none.

    >>> signed(0.66), signed(-1.2), signed(-0.01)
    ('+0.7', '−1.2', '0.0')
    """
    text = f"{points:+.1f}"
    return "0.0" if text in {"+0.0", "-0.0"} else text.replace("-", "−")


def joined(names: Sequence[str]) -> str:
    """Join names as a sentence does.

    >>> joined(["body", "acidity", "sweetness"])
    'body, acidity and sweetness'
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def settings_text(beliefs: Beliefs, attributes: Sequence[Attribute]) -> tuple[tuple[str, str], ...]:
    """Return the settings that a result rests on."""
    priors = beliefs.priors
    method = {
        "integrated": "standard deviations integrated out",
        "mode": "standard deviations at their posterior mode",
    }.get(beliefs.method, beliefs.method)
    tolerances = ", ".join(f"{a.name} {a.tolerance:g}" for a in attributes)
    return (
        ("A verdict needs a chance of", chance_text(beliefs.threshold)),
        ("The same within, points", tolerances),
        ("Both sides taken at", f"{beliefs.reference_age:g} days after roasting"),
        (
            "Priors, standard deviations in points",
            ", ".join(f"{name} {getattr(priors, field):g}" for name, field in _PRIORS),
        ),
        ("Method", method),
    )
