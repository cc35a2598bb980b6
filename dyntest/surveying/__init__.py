"""Every test pile under a folder: which there are, what is kept of each, and the walk through all of them."""
