"""Charts on the page, each drawn from a tidy frame of `dyntest.presenting`."""
