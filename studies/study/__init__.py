"""What a study is: its file, units, set-up, cases, measured sweeps, result and columns."""
