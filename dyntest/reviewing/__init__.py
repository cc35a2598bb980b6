"""The steps of a review: one drive, its match, and what all drives together answer."""
