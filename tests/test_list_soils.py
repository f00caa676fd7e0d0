"""The list of soils gives the range of a kind of ground, not one number."""

from tautwire.studies.manual.lists import soils


def test_soils_are_listed_with_their_usual_range() -> None:
    """Clay: permittivity 5 to 40, 2 to 1000 mS/m; GeoSci.xyz, electromagnetics, typical values."""
    head, *rows = soils()
    ranges = {row[0]: row[head.index("usual range")] for row in rows}
    assert ranges["clay"] == "εr 5 to 40, 2 to 1000 mS/m"
    assert ranges["sea water"] == "" and ranges["average soil"] == ""
