"""A test pile reviewed: each drive, its match, what all drives answer together, and every pile under a folder."""
