"""A fault is told in the user's language: the key as the study file or the option spells it, the value as written."""

import copy

import pytest
from click.testing import CliRunner

import tautwire
from tautwire.model.errors import InputError
from tautwire.studies.commands.cli import tautwire as command
from tautwire.studies.study.raw import changed
from tautwire.studies.wants.fit.fitted import fit_text

SETUP = {
    "antenna": {"layout": "sloper", "length": "20.5 m", "slope": "25 deg"},
    "wire": {"diameter": "0.8 mm"},
    "counterpoise": [{"length": "2 m"}, {"length": "3 m", "bearing": "30 deg"}],
    "coax": {"type": "RG-58", "length": "5 m"},
}
OWN_COAX = {"velocity_factor": 0.66, "loss": {"14 MHz": 5.2}}

FAULTS = [
    ("antenna.layout", "slopr"),
    ("antenna.length", "2 cm"),
    ("antenna.slope", "95 deg"),
    ("antenna.slope", "1.7 rad"),
    ("antenna.end_height", "-3 ft"),
    ("antenna.end_height", "14 m"),
    ("antenna.feed_height", "0.6 km"),
    ("antenna.sag", "30 m"),
    ("antenna.turn", "10 deg"),
    ("site.soil", "mud"),
    ("wire.diameter", "20 cm"),
    ("wire.jacket", "-0.1 mm"),
    ("wire.conductivity", "-1 S/m"),
    ("wire.awg", 77),
    ("counterpoise.1.length", "2 cm"),
    ("counterpoise.2.length", "1 in"),
    ("counterpoise.2.height", "0.1 mm"),
    ("counterpoise.2.wire.diameter", "1 km"),
    ("coax.type", "RG-5"),
    ("coax.type.velocity_factor", 1.5),
    ("coax.type.z0", "2 kohm"),
    ("coax.length", "2 km"),
    ("coax.height", "1 mm"),
    ("coax.loss_scale", -1),
    ("coax.choke.at", "9 m"),
    ("coax.choke.at", "-1 ft"),
    ("coax.choke.resistance", "-1 kohm"),
    ("transformer.turns_ratio", 49),
    ("transformer.primary_turns", 0),
    ("transformer.leakage_inductance", "-1 uH"),
    ("transformer.magnetising_inductance", "9 H"),
    ("transformer.core.material", "mix 99"),
    ("transformer.core.stack", 99),
    ("radio.power", "20 kW"),
    ("radio.impedance", "2 kohm"),
    ("nearby.1.diameter", "2 m"),
    ("mesh.segments_per_wavelength", 1),
    ("mesh.max_segment", "1 um"),
    ("reel.wire_length", "2 km"),
]


def faulty(path, value):
    raw = copy.deepcopy(SETUP)
    if path == "antenna.end_height" and value == "14 m":
        raw = changed(raw, "antenna.feed_height", "1 m")  # which contradicts length, slope and end
    if path.startswith("coax.type."):
        raw["coax"]["type"] = dict(OWN_COAX)
    if path.startswith("coax.choke"):
        raw["coax"]["choke"] = {"at": "1 m"}
    if path.startswith("transformer.core"):
        raw["transformer"] = {"core": {"size": "61 mm"}}
    if path.startswith("nearby"):
        raw["nearby"] = [{"start": ["5 m", "5 m", "1 m"], "end": ["5 m", "9 m", "1 m"]}]
    if path.startswith("reel"):
        raw["reel"] = {"turn_length": "0.4 m"}
    return changed(raw, path, value)


@pytest.mark.parametrize(("path", "value"), FAULTS)
def test_faults_of_a_study_file_name_its_key_and_value(path, value):
    study = {"study": {"bands": ["20 m"], "want": ["dips", "turns"]}, "turns": {"segments": ["20 m"]}}
    with pytest.raises(InputError) as fault:
        tautwire.read_study({**faulty(path, value), **(study if path.startswith("reel") else {})})
    assert fault.value.field == path, str(fault.value)
    assert str(value) in str(fault.value.value) and fault.value.allowed


@pytest.mark.parametrize(
    ("key", "table", "value"),
    [("study.bands", {"bands": ["21 m"]}, "21 m"), ("study.region", {"region": "9"}, "9")],
)
def test_faults_of_the_study_table(key, table, value):
    with pytest.raises(InputError) as fault:
        tautwire.read_study({**SETUP, "study": table})
    assert fault.value.field == key and value in str(fault.value.value)


def test_a_swept_value_is_told_as_it_stands_in_the_sweep():
    with pytest.raises(InputError, match=r"antenna.slope = '95 deg': from -90 to 90 degrees \(case slope 95°\)"):
        tautwire.read_study({**SETUP, "sweep": {"antenna.slope": ["20 deg", "95 deg"]}})


def test_a_wire_that_takes_too_many_segments_is_told_by_its_length():
    long = changed(changed(SETUP, "antenna.length", "2 km"), "antenna.slope", "0 deg")
    with pytest.raises(InputError, match="antenna.length = '2 km': shorter: at 29.7 MHz .* 1200 at most"):
        tautwire.predict(long, bands=["10 m"])
    with pytest.raises(InputError, match="counterpoise.2.length = '900 m': shorter"):
        tautwire.predict(changed(SETUP, "counterpoise.2.length", "900 m"), bands=["6 m"])


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--slope", "95 deg"),
        ("--length", "2 cm"),
        ("--length", "twenty metres"),
        ("--end-height", "-3 ft"),
        ("--layout", "slopr"),
        ("--soil", "mud"),
        ("--wire", "20 cm"),
        ("--jacket", "-1 mm"),
        ("--coax", "RG-5"),
        ("--coax-length", "2 km"),
        ("--coax-height", "1 mm"),
        ("--choke-at", "9 m"),
        ("--counterpoise", "2 cm"),
        ("--ratio", "49"),
        ("--bands", "21 m"),
        ("--region", "9"),
        ("--length", "2 km"),
    ],
)
def test_faults_of_options_name_the_option(option, value):
    result = CliRunner().invoke(command, ["predict", option, value], standalone_mode=False)
    assert isinstance(result.exception, InputError), result.output
    assert result.exception.field == option, str(result.exception)
    assert value in str(result.exception.value)


def test_an_option_beside_a_fit_is_named_and_a_key_of_the_fit_is_named(tmp_path):
    fit = tmp_path / "fit.toml"
    for slope, option, field in (("20 deg", "95 deg", "--slope"), ("95 deg", None, "antenna.slope")):
        fit.write_text(fit_text({**SETUP, "antenna": {**SETUP["antenna"], "slope": slope}}, {"rms": 0.1}))
        given = ["--slope", option] if option else []
        result = CliRunner().invoke(command, ["predict", "--from", str(fit), *given], standalone_mode=False)
        assert isinstance(result.exception, InputError), result.output
        assert (result.exception.field, result.exception.value) == (field, "'95 deg'")


def test_faults_of_the_functions_name_their_parameters():
    for given, field in (({"bands": ["21 m"]}, "bands"), ({"bands": ["20 m"], "region": 9}, "region")):
        with pytest.raises(InputError) as fault:
            tautwire.predict(SETUP, **given)
        assert fault.value.field == field


def test_options_of_other_commands_too(tmp_path):
    file = tmp_path / "a.toml"
    file.write_text('[antenna]\nlayout = "sloper"\nlength = "20 m"\nslope = "20 deg"\n[coax]\nlength = "5 m"\n')
    for option, value in (("--case", "7"), ("--band", "6 m"), ("--out", str(tmp_path))):
        result = CliRunner().invoke(command, ["deck", str(file), option, value], standalone_mode=False)
        assert isinstance(result.exception, InputError) and result.exception.field == option, result.exception
