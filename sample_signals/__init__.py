"""Sample test piles and a production log of an invented bridge, computed and not measured."""
