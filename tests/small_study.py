"""A quick study for tests of storing, resuming and running elsewhere: short wires, one band, seconds of work."""

from pathlib import Path

TEXT = """
[study]
name = "lakeside-small"
question = "How does the slope move the 20 m dip at the lakeside park?"
bands = ["20 m"]
[site]
soil = "average soil"
[antenna]
layout = "sloper"
length = "10.1 m"
feed_height = "1.2 m"
slope = "30 deg"
[wire]
diameter = "0.8 mm"
[[counterpoise]]
length = "2 m"
height = "30 cm"
[sweep]
"""
SLOPES = '"antenna.slope" = {from = "15 deg", to = "48 deg", step = "3 deg"}\n'
SOILS = '"site.soil" = ["average soil", "sandy soil", "very dry ground"]\n'
CASES = 12


def write_study(folder: Path, axes: str = SLOPES) -> Path:
    """The study file in folder."""
    path = folder / "lakeside-small.toml"
    path.write_text(TEXT + axes, encoding="utf-8")
    return path
