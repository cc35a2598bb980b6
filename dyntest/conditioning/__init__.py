"""From raw gauge signals to force and velocity that can be trusted, and what cannot."""
