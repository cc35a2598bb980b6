"""From gauge records of driven test piles to a driving criterion that can be checked."""

__version__ = "0.1.0"
