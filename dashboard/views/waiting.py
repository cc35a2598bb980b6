"""The page waiting."""

from dashboard import pieces


def draw() -> None:
    """Draw the page."""
    pieces.question("waiting")


pieces.guarded(draw)
