"""Uncertain values of the set-up, fitted to measured sweeps."""
