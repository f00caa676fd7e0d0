"""The method of moments: the engine, its corrections, matrices over frequency, currents and feed impedance."""
