"""A page with sliders, and the surface of responses behind it."""
