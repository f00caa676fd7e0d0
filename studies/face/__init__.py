"""Study portable end-fed half-wave wire antennas over real soil with the NEC method of moments."""
