"""The page hammer."""

from dashboard import pieces


def draw() -> None:
    """Draw the page."""
    pieces.question("hammer")


pieces.guarded(draw)
