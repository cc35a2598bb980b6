"""The pages: each answers one question on a test by calling the library, and draws the answer."""
