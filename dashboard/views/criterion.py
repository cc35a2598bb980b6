"""The page criterion."""

from dashboard import pieces


def draw() -> None:
    """Draw the page."""
    pieces.question("criterion")


pieces.guarded(draw)
