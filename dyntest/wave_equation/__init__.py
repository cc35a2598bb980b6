"""The pile, its soil and its hammer as travelling waves: simulation, matching, bearing graph."""
