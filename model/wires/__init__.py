"""The metal: how the wire hangs, what the feed's other side connects to, and how it all is cut into segments."""
