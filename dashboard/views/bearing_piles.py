"""The page bearing_piles."""

from dashboard import pieces


def draw() -> None:
    """Draw the page."""
    pieces.question("bearing_piles")


pieces.guarded(draw)
