"""What no study file can mean, and files that are not what their names say, are refused in one line."""

import copy
from pathlib import Path

import pytest
from test_study import RAW

from tautwire.model.errors import InputError
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import Output, Source, load_tables, make_folder, put_new
from tautwire.studies.study.measurement import read_sweep
from tautwire.studies.study.parts import DEEPEST, check_plain


def nested(depth):
    return [nested(depth - 1)] if depth else "1 m"


@pytest.mark.parametrize(
    "changed, words",
    [
        ({"sweep": {"0": 1}}, ["sweep", "'0'", "antenna.length"]),
        ({"sweep": {"": ["1 m"]}}, ["sweep", "a key of the set-up"]),
        ({"sweep": {"counterpoise.²": ["1 m"]}}, ["sweep", "counterpoise.length"]),
        ({"sweep": {"9" * 900: ["1 m"]}}, ["sweep", "a key of the set-up"]),
        ({"radio": {"duty": 10**400}}, ["radio.duty", "integer", "at most"]),
        ({"radio": {"duty": 10**5000}}, ["radio.duty", "integer", "at most"]),
        ({"nearby": [nested(900)]}, ["nearby.1.1", "at most 12 deep"]),
        ({"study": {"question": "why " * 1250}}, ["study.question", "5000 characters", "at most 1000"]),
        ({"study": {"question": "bell \x07"}}, ["study.question", "'bell \\x07'", "printable"]),
        ({"variant": [{"name": "half \ud800"}]}, ["variant.1.name", "printable"]),
        ({"variant": [{"name": "a", "k\x00": 1}]}, ["variant.1.", "printable"]),
        ({"study": {"bands": ["20 m"], "region": "²"}}, ["region", "'²'", "1, 2 or 3"]),
        ({"coax": {"length": "5 (m**9**9**9)"}}, ["coax.length", "with its unit"]),
        *(
            ({"antenna": {"layout": "sloper", "length": "20 m", "slope": f"100 {unit}"}}, ["antenna.slope", "'12 deg'"])
            for unit in ("%", "percent", "ppm", "sr")
        ),
        ({"antenna": {**RAW["antenna"], "bearing": "1e308 deg"}}, ["antenna.bearing", "up to 360 deg"]),
        ({"site": {"soil": {"er": 13, "sigma": "5 MS/m"}}}, ["site.soil.sigma", "'5 MS/m'", "from 0 to 100 S/m"]),
        ({"site": {"soil": {"er": 13, "sigma": "1e200 S/m"}}}, ["site.soil.sigma", "'1e200 S/m'"]),
        ({"coax": {"length": "5 m", "height": "100 m"}}, ["coax.height", "'100 m'", "5 m above the feed"]),
        ({"counterpoise": [{"length": "2 m", "height": "50 m"}]}, ["counterpoise.height", "2 m above the feed"]),
        ({"coax": {"length": "5 cm"}}, ["coax.length", "'5 cm'", "0.1 m or more"]),
        (
            {"antenna": {**RAW["antenna"], "slope": "steep"}, "sweep": {"antenna.slope": ["20 deg", "30 deg"]}},
            ["antenna.slope = 'steep'", "or nothing, as [sweep] replaces it"],
        ),
        (
            {"coax": {"length": "-5 m"}, "sweep": {"coax.length": ["5 m", "6 m"]}},
            ["coax.length = '-5 m'", "or nothing, as [sweep] replaces it"],
        ),
        ({"mesh": {"max_segment": "1 cm"}}, ["mesh.max_segment", "'1 cm'", "longer: at most 1200 segments"]),
        (
            {
                "mesh": {"segments_per_wavelength": 400},
                "antenna": {**RAW["antenna"], "length": "60 m", "slope": "5 deg"},
            },
            ["mesh.segments_per_wavelength", "fewer: at most 1200 segments"],
        ),
    ],
)
def test_what_no_study_can_mean_is_refused_in_one_line(changed, words):
    with pytest.raises(InputError) as caught:
        read_study({**copy.deepcopy(RAW), **changed})
    told = str(caught.value)
    assert "\n" not in told and len(told) < 700 and all(w in told for w in words), told


def test_what_studies_do_mean_is_kept():
    check_plain({**RAW, "study": {"question": "How far?\nAnd why? Ω µ 東", "n": 10**15}, "deep": nested(DEEPEST - 1)})


@pytest.mark.parametrize("text", [f"x = {'9' * 5000}", f"x = {'[' * 5000}{']' * 5000}", "x = {a=" * 5000, "x = \x00"])
def test_files_that_no_reader_can_take_are_one_line(tmp_path, text):
    (tmp_path / "a.toml").write_text(text)
    with pytest.raises(InputError, match="^file = ") as caught:
        load_tables(tmp_path / "a.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("name", [f"{'a' * 300}.s1p", "a\x00.s1p", "none.csv"])
def test_a_sweep_whose_name_no_file_can_have(tmp_path, name):
    with pytest.raises(InputError, match="a readable .s1p or .csv file"):
        read_sweep(tmp_path / name)


def test_a_cell_longer_than_csv_readers_take(tmp_path):
    (tmp_path / "a.csv").write_text(f"freq_mhz,swr\n7,{'1' * 140_000}\n7.1,2\n7.2,3\n")
    with pytest.raises(InputError, match="a.csv"):
        read_sweep(tmp_path / "a.csv")


def test_places_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("kept")
    for place in (tmp_path / "file", tmp_path / "file" / "in", Path("/proc/none/results"), Path("a\x00b")):
        with pytest.raises(InputError, match="^out = .*can be written"):
            make_folder(place)
    with pytest.raises(InputError, match="^out = .*this is a folder"):
        Output.file(tmp_path, Source("a"), "deck")
    with pytest.raises(InputError, match="^out = .*can be written"):
        put_new(tmp_path / "file", b"other")
    assert (tmp_path / "file").read_text() == "kept" and [p.name for p in tmp_path.iterdir()] == ["file"]
