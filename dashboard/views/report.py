"""The page report."""

from dashboard import pieces


def draw() -> None:
    """Draw the page."""
    pieces.question("report")


pieces.guarded(draw)
