"""Volts, amps, flux and heat."""
