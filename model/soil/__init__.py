"""What lies below: soils, the field they reflect (Sommerfeld), and what that adds to the impedance matrix."""
