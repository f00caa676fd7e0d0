"""How far to stay away while it transmits."""
