"""What every output says of itself: one text, and one more sentence for a grid from one's own soundings."""

CAUTION = (
    "Not for navigation. Depths are the grid's, not today's sea's: check depth, rights and rules on the spot. A site is a guess, "
    "never a place known to be safe: wrecks, swell, traffic and closed ground may be missing."
)

SHORT = (
    "Not for navigation. A guess, not a place known to be safe: check depth, rights and rules on the spot."
)
"""What goes along with each single site, which may be looked at without the list that it came in."""

OF_SOUNDINGS = f"{CAUTION} A grid from one boat's sounder misses what lies between its tracks: rocks, wrecks and nets stand up unseen."
