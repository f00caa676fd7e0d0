"""One antenna, one site, at given frequencies: pure functions and frozen dataclasses."""
