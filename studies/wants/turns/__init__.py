"""Turns off the reel for each segment, and the fewest stops."""
