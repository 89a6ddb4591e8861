"""What the net for several photos is given: the facts that the side which runs it (numpy) and the side which fits it share.

Imports nothing, so that the machine that fits needs no more than torch, numpy and OpenCV.
"""

LEAST_LIGHT = 0.003
"""Added to linear brightness before the logarithm: about one step of 255."""
LUMINANCE = (0.2126, 0.7152, 0.0722)
"""Shares of linear red, green and blue in luminance (ITU-R BT.709)."""
MOST_LOGIT = 7.0
"""Log odds are cut to this on both sides."""

WIDE, NARROW, FINEST = 65, 9, 3
"""Sides in map pixels of the squares over which brightness is compared."""
MOST_LIGHT = 3.0
"""Differences of log brightness beyond this count as this."""
ODDS_SCALE = 4.0
"""Log odds are divided by this, so that all planes are of about the same size."""
PLANES = 10
"""Planes of each photo: see :func:`prepcheck.surface.moved_net.planes_of`."""
SEEN = 9
"""Which of them says where a photo is seen."""
FINE = (0, 7)
"""Which of them are gathered at the map's own size too: log odds of bright metal, fine contrast."""
FINE_PLANES = 1 + 4 * len(FINE)
"""Planes at the map's own size: the log odds of the mean, and four for each of `FINE`."""
STEP = 8
"""Sides of what the nets are given are multiples of this."""
