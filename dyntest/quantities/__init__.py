"""One module a quantity, each a pure function over all blows, and the table of all of them."""
