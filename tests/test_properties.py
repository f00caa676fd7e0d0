"""Whole set-ups at random: passive at every plane, loss that only grows, study files that read back to themselves.

Layouts, units, lines and transformers one by one: test_layout, test_units, test_feed and test_transformer.
"""

import copy
import tomllib

import numpy as np
import pytest
import tomli_w
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tautwire.model.errors import InputError, SolveError
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.raw import changed, table_value
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import CUSTOMARY, angle, length, written

lengths = st.floats(8, 22).map(lambda x: f"{x:.2f} m")
few = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@st.composite
def raws(draw):
    """Set-ups as people write them: every layout, any soil, returns and chokes."""
    layout = draw(st.sampled_from(["sloper", "inverted V", "horizontal", "vertical", "inverted L"]))
    antenna = {"layout": layout, "length": draw(lengths)}
    if layout == "sloper":
        antenna |= {"slope": f"{draw(st.integers(0, 80))} deg", "feed_height": f"{draw(st.floats(0.1, 3)):.2f} m"}
    elif layout == "inverted V":
        up, down = draw(st.integers(20, 60)), draw(st.integers(5, 20))
        antenna |= {"slope_up": f"{up} deg", "slope_down": f"{down} deg", "feed_height": "1.2 m"}
    elif layout != "vertical":
        antenna |= {"height": f"{draw(st.floats(2, 7)):.2f} m"}
    raw = {
        "site": {"soil": draw(st.sampled_from(["average soil", "very dry ground", "sea water", "free space"]))},
        "antenna": antenna,
        "wire": {"diameter": draw(st.sampled_from(["0.5 mm", "0.8 mm", "1.6 mm"])), "jacket": "0.3 mm"},
        "mesh": {"segments_per_wavelength": 12, "max_segment": "1.5 m", "feed_segment": "0.25 m"},
    }
    coax = draw(st.booleans())
    if coax:
        raw["coax"] = {"type": "RG-58", "length": f"{draw(st.floats(2, 12)):.2f} m"}
        if draw(st.booleans()):
            raw["coax"]["choke"] = {"at": "1 m", "resistance": "3 kohm"}
    if not coax or draw(st.booleans()):
        low = antenna.get("feed_height", antenna.get("height", "1 m")) if layout == "horizontal" else "10 cm"
        raw["counterpoise"] = [{"length": f"{draw(st.floats(0.5, 5)):.2f} m", "height": low}]
    return raw


def setup_of(raw):
    """The set-up, or another draw if it cannot be built (a wire in the ground, say); too many of those is a failure."""
    setup = Setup.read(raw)
    try:
        setup.build()
    except InputError:
        assume(False)
    return setup


@few
@given(raws(), st.floats(3.5e6, 29.7e6))
def test_any_set_up_is_passive_at_every_plane(remember, raw, f_hz):
    """|reflection| <= 1 at wire, transformer and radio, and the shares of the power are shares."""
    setup = setup_of(raw)
    built = setup.build()
    try:
        z = built.solver(remember).impedance(f_hz)
    except SolveError as error:
        pytest.fail(f"{raw} at {f_hz:.0f} Hz: {error}")
    assert z.real > 0
    system = setup.feed_system()
    at = system.impedances(np.array(z), np.array(f_hz))
    for plane in (z, *(complex(x) for x in vars(at).values())):
        assert abs((plane - 50) / (plane + 50)) <= 1
    split = system.power_split(np.array(z), np.array(f_hz))
    shares = np.array([split.mismatch, split.coax, split.core, split.winding, split.wire])
    assert (shares >= 0).all() and shares.sum() == pytest.approx(1)


@few
@given(raws(), st.floats(6.9e6, 14.4e6), st.integers(1, 4))
def test_a_worse_conductor_takes_a_larger_share(remember, raw, f_hz, steps):
    """Loss is monotone: what the wire's metal takes of the power grows with its resistance."""
    shares = []
    for k in range(steps + 1):
        worse = copy.deepcopy(raw)
        worse["wire"]["conductivity"] = f"{58 / 4**k} MS/m"
        solution = setup_of(worse).build().solver(remember).solve(f_hz)
        mine = solution.mesh.conductor == 0
        lost = (np.abs(solution.current[mine]) ** 2 * solution.load[mine].real).sum()
        shares.append(lost / solution.admittance.real)
    assert all(b > a for a, b in zip(shares, shares[1:], strict=False))


@few
@given(raws())
def test_a_set_up_is_drawn_as_it_was_asked_for(raw):
    built = setup_of(raw).build()
    asked = raw["antenna"]
    assert built.layout.length == pytest.approx(length(asked["length"], "length"))
    assert built.structure.lengths["wire"] == pytest.approx(length(asked["length"], "length"))
    if "feed_height" in asked:
        assert built.layout.feed_height == pytest.approx(length(asked["feed_height"], "h"))
    if asked["layout"] == "sloper":
        assert built.layout.slopes[0] == pytest.approx(angle(asked["slope"], "slope"), abs=1e-9)
    for part, role in (("counterpoise", "counterpoise"), ("coax", "coax")):
        if part in raw:
            given_ = raw[part][0] if isinstance(raw[part], list) else raw[part]
            assert built.structure.lengths[role] == pytest.approx(length(given_["length"], "length"), abs=1e-9)
    if raw["site"]["soil"] != "free space":
        assert min(p[2] for c in built.structure.conductors for p in c.points) >= 0.01 - 1e-9


@settings(max_examples=60, deadline=None)
@given(
    raws(), st.lists(st.integers(5, 60), min_size=1, max_size=4, unique=True), st.sampled_from(["40 m", "20 m", "10 m"])
)
def test_a_study_file_reads_back_to_itself(raw, slopes, band):
    """Tables to TOML and back: the same study, the same cases, the same set-ups."""
    tables = {**raw, "study": {"name": "lakeside", "bands": [band]}}
    if raw["antenna"]["layout"] == "sloper":
        tables["sweep"] = {"antenna.slope": [f"{s} deg" for s in slopes]}
    try:
        study = read_study(tables)
    except InputError as first:
        with pytest.raises(InputError) as second:
            read_study(tomllib.loads(tomli_w.dumps(tables)))
        assert str(second.value) == str(first)
        return
    again = read_study(tomllib.loads(tomli_w.dumps(tables)))
    assert again == study
    assert [c.setup() for c in again.cases()] == [c.setup() for c in study.cases()]


@given(st.floats(1e-3, 1e6), st.sampled_from(list(CUSTOMARY)))
def test_written_quantities_read_back_to_twelve_digits(number, kind):
    assume(number <= 360 or kind is not angle)
    read = kind(written(number, kind), "x")
    assert read * CUSTOMARY[kind].factor == pytest.approx(number, rel=1e-11)


@given(raws(), st.floats(0.5, 50))
def test_a_changed_value_is_there_and_nothing_else_moved(raw, metres):
    before = copy.deepcopy(raw)
    text = written(metres, length)
    after = changed(raw, "antenna.length", text)
    assert raw == before and table_value(after, "antenna.length") == text
    assert changed(after, "antenna.length", before["antenna"]["length"]) == before
