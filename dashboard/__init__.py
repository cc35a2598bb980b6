"""The pages: each asks one question of a test, calls the library for the answer, and draws it."""
