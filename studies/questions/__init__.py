"""Every question as a function: what a command answers, for scripts, notebooks and other programs."""
