"""What comes from outside: the test sheet, signal tables, driving and production logs."""
