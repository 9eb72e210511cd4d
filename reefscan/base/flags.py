"""What a site is flagged with: the flag in files, for programs, and the words that a person reads in its place."""

from __future__ import annotations

from reefscan.base.doubts import DOUBTS
from reefscan.base.terms import DEFAULT_TERMS

FLAGS: dict[str, str] = {
    **{doubt.flag: f"looks like {doubt.looks_like}" for doubt in DOUBTS},
    "interpolated": "not sounded here",
    "position-uncertain": "position uncertain",
    "uncertainty-assumed": "how good the depths are is assumed, not stated",
    "closed-ground-near": "closed ground is near",
    "caution-ground": "caution ground",
    "height-unsure": "not sure to be that high",
    **{
        f"unknown-{name.replace('_', '-')}": f"not known: {row.unknown}"
        for name, row in DEFAULT_TERMS.items()
        if row.unknown
    },
}
"""A row for each flag; one of a term of the user's own reads as it is written."""


def flag_words(flag: str) -> str:
    """What a person reads.

    Examples
    --------
    >>> flag_words("interpolated"), flag_words("unknown-my-layer")
    ('not sounded here', 'not known: my layer')
    """
    said = FLAGS.get(flag)
    if said is not None:
        return said
    return (
        f"not known: {flag[8:].replace('-', ' ')}" if flag.startswith("unknown-") else flag.replace("-", " ")
    )
