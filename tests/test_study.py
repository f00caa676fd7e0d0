"""Study files: axes, variants, cases, and every fault in one line."""

import copy

import numpy as np
import pytest

from tautwire.model.errors import InputError
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.raw import changed, kind_of, table_value
from tautwire.studies.study.setup import Setup

RAW = {
    "study": {"name": "shore", "bands": ["20 m"]},
    "site": {"soil": "average soil"},
    "antenna": {"layout": "sloper", "length": "20.5 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "counterpoise": [{"length": "2 m", "height": "5 cm"}],
    "coax": {"type": "RG-58", "length": "5 m"},
}


def with_sweep(sweep, **tables):
    return read_study({**copy.deepcopy(RAW), "sweep": sweep, **tables})


def test_range_axis_makes_cases_in_order():
    study = with_sweep({"antenna.slope": {"from": "15 deg", "to": "60 deg", "step": "15 deg"}})
    assert [c.labels["slope_deg"] for c in study.cases()] == [15, 30, 45, 60]
    assert study.cases()[2].setup().antenna.slope == pytest.approx(0.7853981633974483)


def test_axes_multiply_and_last_runs_fastest():
    study = with_sweep({"antenna.length": ["20 m", "66 ft"], "site.soil": ["sea water", "average soil", "poor soil"]})
    labels = [tuple(c.labels.values()) for c in study.cases()]
    assert labels[:3] == [(20.0, "sea water"), (20.0, "average soil"), (20.0, "poor soil")]
    assert labels[3][0] == pytest.approx(66 * 0.3048) and len(labels) == 6


def test_nested_toml_keys_and_lists_are_the_same_axis():
    dotted = with_sweep({"counterpoise.1.length": ["1 m", "2 m"]})
    nested = with_sweep({"counterpoise": {"length": ["1 m", "2 m"]}})
    assert [c.raw for c in dotted.cases()] == [c.raw for c in nested.cases()]
    assert list(nested.cases()[0].labels) == ["counterpoise_length_m"]


def test_variants_replace_whole_tables():
    v = {"layout": "inverted V", "length": "20.5 m", "apex_height": "8 m", "end_height": "2 m"}
    study = with_sweep({}, variant=[{"name": "sloper"}, {"name": "over a branch", "antenna": v}])
    sloper, over = study.cases()
    assert sloper.setup().antenna.slope is not None and over.setup().antenna.slope is None
    assert over.labels == {"variant": "over a branch"}


def test_soils_of_ones_own_have_names():
    study = with_sweep({"site.soil": [{"er": 80, "sigma": "5 S/m"}, "sea water"]})
    assert [c.labels["soil"] for c in study.cases()] == ["er 80, sigma 5 S/m", "sea water"]
    assert study.cases()[0].setup().build().ground.er == 80


def test_feet_are_spoken_back():
    axis = with_sweep({"coax.length": ["25 ft", "10' 6\"", "8 m"]}).axes[0]
    told = ["coax length 25 ft", "coax length 10' 6\"", "coax length 8 m"]
    assert [axis.words(n) for n in axis.numbers] == told


def test_a_band_twice_is_refused():
    with pytest.raises(InputError, match="study.bands = '20 m': each band once"):
        read_study({**RAW, "study": {"name": "shore", "bands": ["20 m", "20m"]}})


def test_changed_leaves_the_original_alone():
    raw = copy.deepcopy(RAW)
    assert table_value(changed(raw, "coax.length", "7 m"), "coax.length") == "7 m"
    assert raw == RAW


def test_kind_of_knows_quantities_from_words():
    assert kind_of("antenna.slope").unit == "rad" and kind_of("coax.length").unit == "m"
    assert kind_of("site.soil") is None


BAD = [
    (lambda r: r["antenna"].update(lenght="20 m"), ["antenna.lenght", "did you mean 'length'"]),
    (lambda r: r["antenna"].update(length="-20 m"), ["length", "-20"]),
    (lambda r: r["antenna"].update(length="20 kg"), ["antenna.length", "20 kg"]),
    (lambda r: r["antenna"].update(length=20.5), ["antenna.length", "with its unit"]),
    (lambda r: r["antenna"].update(layout="slopper"), ["slopper", "sloper"]),
    (lambda r: r["antenna"].update(slope="-30 deg"), ["ground", "m"]),
    (lambda r: r["antenna"].update(end_height="12 m"), ["12 m", "11.4 m"]),
    (lambda r: r["site"].update(soil="averag soil"), ["soil", "average soil"]),
    (lambda r: r["wire"].update(diameter="0 mm"), ["wire.diameter"]),
    (lambda r: r["wire"].update(awg=20), ["awg", "not both"]),
    (lambda r: r["coax"].update(type="RG-85"), ["RG-85", "RG-58"]),
    (lambda r: r["coax"].update(height="2 mm"), ["coax.height", "outer radius"]),
    (lambda r: r["study"].update(bands=["21 m"]), ["21 m"]),
    (lambda r: r["study"].update(bands=[]), ["study.bands"]),
    (lambda r: r["study"].update(swr_threshold=0.5), ["study.swr_threshold", "above 1"]),
    (lambda r: r["study"].update(want=["dip"]), ["study.want", "dips"]),
    (lambda r: r["study"].update(name="../x"), ["study.name"]),
    (lambda r: [r.pop("coax"), r.pop("counterpoise")], ["coax = none", "return conductor"]),
    (lambda r: r.update(sweep={"antenna.slop": ["1 deg"]}), ["antenna.slop", "antenna.slope"]),
    (lambda r: r.update(sweep={"antenna.slope": []}), ["antenna.slope"]),
    (lambda r: r.update(sweep={"antenna.slope": {"from": "15 deg", "to": "60 deg", "step": "-5 deg"}}), ["step"]),
    (lambda r: r.update(sweep={"site.soil": "average soil"}), ["sweep.site.soil", "a list"]),
    (lambda r: r.update(variant=[{"name": "a"}, {"name": "a"}]), ["variant.2.name"]),
    (lambda r: r.update(variant=["a"]), ["variant.1", "'a'", "[[variant]]"]),
    (lambda r: r.update(variant=[5]), ["variant.1", "5"]),
    (lambda r: r.update(study=5), ["study = 5", "a table"]),
    (lambda r: r.update(radio={"duty": 5}), ["radio.duty = 5", "up to 1"]),
    (lambda r: r.update(radio={"power": "10 MW"}), ["radio.power", "10 kW"]),
    (lambda r: r.update(radio={"power": "0 W"}), ["radio.power", "above 0"]),
    (lambda r: r.update(radio={"impedance": "-50 ohm"}), ["radio.impedance", "-50 ohm"]),
    (lambda r: r.update(counterpoise={"length": "2 m"}), ["counterpoise =", "write [[counterpoise]]"]),
    (lambda r: r.update(nearby=5), ["nearby = 5", "write [[nearby]]"]),
    (lambda r: r.update(nearby=[{"start": "0 m", "end": "1 m"}]), ["nearby.1.start", "a list of 3 values"]),
    (lambda r: r["study"].update(bands="20 m"), ["study.bands", 'a list, such as ["20 m"]']),
    (lambda r: r["site"].update(soil={"er": 13}), ["site.soil.sigma", "this key is needed"]),
    (lambda r: r["site"].update(soil={"er": 13, "sigma": 5}), ["site.soil.sigma = 5", "conductivity with its unit"]),
    (lambda r: r["site"].update(soil={"er": 13, "sgma": 5}), ["site.soil.sgma", "did you mean 'sigma'"]),
    (lambda r: r["site"].update(soil=5), ["site.soil = 5", "text in quotes, or a table"]),
    (lambda r: r["coax"].update(type={"velocity_factor": 0.66}), ["coax.type.loss", "needed"]),
    (lambda r: r["coax"].update(type={"velocity_factor": 0.66, "loss": {"14 MHz": "x"}}), ["coax.type.loss.14 MHz"]),
    (lambda r: r.update(exposure=5), ["exposure = 5", "a table"]),
    (lambda r: r.update(coax=5), ["coax = 5", "a table"]),
    (lambda r: r["antenna"].update(slope="30"), ["antenna.slope = '30'", "an angle"]),
    (lambda r: r["study"].update(region=[1]), ["study.region = [1]", "a whole number"]),
    (lambda r: r.update(turns={"stray": "sries"}), ["turns.stray", "one of 'none', 'series' or 'shunt'"]),
    (lambda r: r.update(transformer={"turns_ratio": -7}), ["transformer.turns_ratio = -7", "0.05"]),
    (lambda r: r.update(transformer={"core": {"material": "mix 99", "size": "FT240"}}), ["transformer.core."]),
    (lambda r: r.update(transformer={"core": {"material": "mix 43"}}), ["transformer.core", "outer"]),
    (lambda r: r["coax"].update(type={"velocity_factor": 66, "loss": {"14 MHz": 5}}), ["coax.type.velocity_factor"]),
    (lambda r: r["site"].update(soil={"er": 0, "sigma": "1 mS/m"}), ["site.soil.er = 0", "from 1 to 100"]),
    (lambda r: [r["study"].update(want=["turns"])], ["reel", "wire_length"]),
    (lambda r: [r["study"].update(want=["exposure"]), r.update(exposure={"standard": "x"})], ["exposure.standard"]),
    (lambda r: [r["study"].update(want=["exposure"]), r.update(exposure={"group": "x"})], ["exposure.group"]),
    (lambda r: [r["study"].update(want=["exposure"]), r.update(exposure={"heights": ["0 m"]})], ["exposure.heights"]),
    (lambda r: [r["study"].update(want=["shield"]), r.update(shield={"positions": ["9 m"]})], ["shield.positions"]),
    (lambda r: r.update(antenna=[5], sweep={"antenna.slope": ["30 deg"]}), ["antenna.slope", "a table at antenna"]),
    (lambda r: r.update(why={"before": 5}), ["why.before = 5", "a list"]),
    (lambda r: r.update(fit={"sweeps": 5}), ["fit.sweeps = 5"]),
    (lambda r: r["study"].update(want=[]), ["study.want", "at least one of", "dips"]),
    (lambda r: r.update(sites={}), ["sites", "did you mean 'site'"]),
    (lambda r: r.pop("antenna"), ["antenna", "needed"]),
    (lambda r: r.update(transformer={"turns_ratio": "49:1"}), ["transformer.turns_ratio", "7 for a 49:1"]),
    (lambda r: r.update(transformer={"turns_ratio": 49}), ["transformer.turns_ratio", "7 for a 49:1"]),
    (lambda r: r.update(nearby=[{"start": ["0 m", "0 m", "1 m"], "end": ["0 m", "9 m", "9 m"]}]), ["nearby", "apart"]),
]


@pytest.mark.parametrize("spoil, words", BAD)
def test_bad_input_is_one_line_naming_field_value_and_allowed(spoil, words):
    raw = copy.deepcopy(RAW)
    spoil(raw)
    with pytest.raises(InputError) as caught:
        read_study(raw)
    text = str(caught.value)
    assert "\n" not in text and all(w.lower() in text.lower() for w in words), text


@pytest.mark.parametrize("raw", [None, [], "lakeside"])
def test_what_is_no_mapping_is_refused(raw):
    with pytest.raises(InputError, match="study = .*tables"):
        read_study(raw)


def test_too_many_cases_are_refused():
    axis = {"from": "10 m", "to": "40 m", "count": 200}
    with pytest.raises(InputError, match="at most 20000"):
        with_sweep({"antenna.length": axis, "coax.length": {"from": "2 m", "to": "20 m", "count": 200}})


def test_a_bad_case_among_good_ones_is_named():
    with pytest.raises(InputError, match="case slope -20°"):
        with_sweep({"antenna.slope": ["20 deg", "-20 deg"]})


def test_template_is_a_valid_study():
    import tomllib

    from tautwire.studies.commands.new import ready_files

    for name, text in ready_files().items():
        assert read_study(tomllib.loads(text), name).cases(), name


def test_setup_reads_what_people_write():
    setup = Setup.read({k: v for k, v in RAW.items() if k != "study"})
    assert setup.wire.wire().diameter == pytest.approx(0.8e-3)
    assert setup.feed_system().coax.name == "RG-58"


def test_a_core_of_own_material_is_what_its_table_says() -> None:
    """The table of a named material, written out, gives the same transformer; a band beyond it is refused."""
    from tautwire.model.feed.ferrite import ferrite_named
    from tautwire.studies.study.feed_parts import CoreSpec

    rows = {f"{f / 1e6:g} MHz": [real, imag] for f, real, imag in ferrite_named("mix 61").table}
    own = CoreSpec.model_validate({"size": "36 mm", "permeability": rows}).core()
    named = CoreSpec.model_validate({"size": "36 mm", "material": "mix 61"}).core()
    f = np.array([1.9e6, 14.2e6, 50e6])
    assert np.allclose(own.impedance(2, f), named.impedance(2, f), rtol=1e-12)
    short = CoreSpec.model_validate({"size": "36 mm", "permeability": {"5 MHz": [300, 20], "10 MHz": [250, 60]}})
    with pytest.raises(InputError, match="5 to 10 MHz, the range of the table for 'own material'"):
        short.core().impedance(2, f)


def test_options_that_no_want_has_are_the_default_asked_for():
    options = read_study(RAW).options
    assert options.get("antenna") is None and options.get("antenna", 3) == 3
    assert options.get("turns", 3).segments == () and options.get("turns") == options["turns"]
