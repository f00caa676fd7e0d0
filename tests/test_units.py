"""Quantities with units, against the exact foot, inch and degree in scipy.constants."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from scipy import constants

from tautwire.model.errors import InputError
from tautwire.studies.study import units


@pytest.mark.parametrize(
    ("kind", "text", "si"),
    [
        (units.length, "20.1 m", 20.1),
        (units.length, "20m", 20.0),
        (units.length, "66 ft", 66 * constants.foot),
        (units.length, "66 ft 3 in", 66 * constants.foot + 3 * constants.inch),
        (units.length, "66'3\"", 66 * constants.foot + 3 * constants.inch),
        (units.length, "-6 feet 6 inches", -6.5 * constants.foot),
        (units.length, "0.4 mm", 4e-4),
        (units.length, 0, 0.0),
        (units.length, "0", 0.0),
        (units.length, "10 mil", 10e-3 * constants.inch),
        (units.angle, "12 deg", 12 * constants.degree),
        (units.angle, "12°", 12 * constants.degree),
        (units.frequency, "14.06 MHz", 14.06e6),
        (units.frequency, "7030 khz", 7.03e6),
        (units.capacitance, "100 pF", 1e-10),
        (units.inductance, "3.2 uH", 3.2e-6),
        (units.inductance, "3.2 µH", 3.2e-6),
        (units.resistance, "1 kohm", 1e3),
        (units.resistance, "1 kΩ", 1e3),
        (units.resistance, "50 Ohm", 50.0),
        (units.conductivity, "5 mS/m", 5e-3),
        (units.power, "500 mW", 0.5),
        (units.power, "1 horsepower", constants.hp),
        (units.duration, "6 min", 6 * constants.minute),
        (units.conductivity, "50 uS/cm", 5e-3),
        (units.number, "50 %", 0.5),
        (units.number, 49, 49.0),
        (units.number, "1e-3", 1e-3),
    ],
)
def test_quantities_against_scipy_constants(kind: units.Kind, text: object, si: float) -> None:
    assert kind(text, "x") == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "bad"),
    [
        (units.length, 20.1),
        (units.length, "20.1"),
        (units.length, "20 M"),
        (units.length, "20,1 m"),
        (units.length, "20 m + 1 m"),
        (units.length, "20 s"),
        (units.length, "20 bananas"),
        (units.length, "20 (("),
        (units.length, "20 'a"),
        (units.length, "20 m**1000000"),
        (units.length, ""),
        (units.length, "m"),
        (units.length, "nan m"),
        (units.length, "1e999 m"),
        (units.length, True),
        (units.length, False),
        (units.length, None),
        (units.length, ["20 m"]),
        (units.frequency, "14.06"),
        (units.frequency, "3 degC"),
        (units.power, "20 dBm"),
        (units.number, math.inf),
        (units.number, "3 m"),
    ],
)
def test_anything_else_is_refused_with_the_field_and_an_example(kind: units.Kind, bad: object) -> None:
    with pytest.raises(InputError) as refused:
        kind(bad, "wire.length")
    line = str(refused.value)
    assert "wire.length" in line and kind.example in line and "\n" not in line


@given(st.text(max_size=30))
def test_no_text_gives_anything_but_a_length_or_an_input_error(text: str) -> None:
    for candidate in (text, "1 " + text):
        with contextlib.suppress(InputError):
            assert math.isfinite(units.length(candidate, "x"))


@pytest.mark.parametrize(
    ("text", "z"),
    [
        ("1200+800j ohm", 1200 + 800j),
        ("1200 - j800 ohm", 1200 - 800j),
        ("1.2-0.8j kΩ", 1200 - 800j),
        ("2.4 kohm", 2400 + 0j),
    ],
)
def test_impedance(text: str, z: complex) -> None:
    assert units.impedance(text, "z") == pytest.approx(z)


@pytest.mark.parametrize("bad", ["1200+800j", 1200 + 800j, "1200+8..0j ohm", "1200+800j m", "x"])
def test_impedance_refused(bad: object) -> None:
    with pytest.raises(InputError):
        units.impedance(bad, "z")


class Pole(BaseModel):
    height: units.Length
    tilt: units.Angle = 0.0
    load: units.Impedance = 50 + 0j


def test_pydantic_fields_hold_si_and_name_themselves_when_refused() -> None:
    pole = Pole.model_validate({"height": "30 ft", "tilt": "90 deg", "load": "1+2j ohm"})
    assert pole.height == pytest.approx(30 * constants.foot)
    assert pole.tilt == pytest.approx(math.pi / 2)
    assert pole.load == 1 + 2j
    with pytest.raises(ValidationError) as refused:
        Pole.model_validate({"height": 9.0})
    error = refused.value.errors()[0]["ctx"]["error"]
    assert isinstance(error, InputError) and error.field == "height"


def test_values_from_lists_and_ranges() -> None:
    deg = constants.degree
    assert units.values("15 deg", units.angle, "a") == [15 * deg]
    assert units.values(["15 deg", "20 deg"], units.angle, "a") == pytest.approx([15 * deg, 20 * deg])
    up = {"from": "15 deg", "to": "60 deg", "step": "5 deg"}
    assert units.values(up, units.angle, "a") == pytest.approx([d * deg for d in range(15, 61, 5)])
    down = {"from": "3 m", "to": "1 m", "step": "-1 m"}
    assert units.values(down, units.length, "a") == [3, 2, 1]
    assert units.values({"from": 0, "to": "1 m", "count": 5}, units.length, "a") == [0, 0.25, 0.5, 0.75, 1]
    assert len(units.values({"from": 1, "to": 1000, "step": 1}, units.number, "a")) == 1000


@pytest.mark.parametrize(
    "bad",
    [
        [],
        ["1 m", "1 m"],
        ["1 m", 2],
        [f"{i} m" for i in range(1, 1002)],
        {"from": "1 m", "to": "2 m"},
        {"from": "1 m", "to": "2 m", "step": "1 m", "count": 2},
        {"from": "1 m", "to": "2 m", "step": 0},
        {"from": "1 m", "to": "2 m", "step": "-1 m"},
        {"from": "1 m", "to": "2 m", "step": "0.3 m"},
        {"from": "1 m", "to": "2 m", "step": "5 m"},
        {"from": "1 m", "to": "2 m", "step": "1e-300 m"},
        {"from": "1 m", "to": "1 m", "count": 2},
        {"from": "1 m", "to": "2 m", "count": 1},
        {"from": "1 m", "to": "2 m", "count": 2.0},
        {"from": "1 m", "to": "2 m", "count": 1001},
        {"from": "1 m", "to": "1001 m", "step": "1 m"},
    ],
)
def test_values_refused(bad: object) -> None:
    with pytest.raises(InputError) as refused:
        units.values(bad, units.length, "axis.wire")
    assert refused.value.field.startswith("axis.wire")


@given(st.floats(-500, 500), st.floats(-500, 500), st.integers(2, 50))
def test_ranges_keep_both_ends_and_even_spacing(first: float, last: float, count: int) -> None:
    if abs(first - last) < 1e-3:
        return
    points = units.values({"from": first, "to": last, "count": count}, units.number, "a")
    assert points[0] == first and points[-1] == last and len(points) == count
    gaps = [b - a for a, b in zip(points, points[1:], strict=False)]
    assert max(gaps) - min(gaps) < 1e-9 * max(1, abs(first), abs(last))


@given(st.floats(-200, 200))
def test_lengths_come_back_from_their_text_to_the_printed_digit(metres: float) -> None:
    assert units.length(units.format_length(metres), "x") == pytest.approx(metres, abs=0.00501)
    imperial = units.length(units.format_length(metres, "imperial"), "x")
    assert imperial == pytest.approx(metres, abs=0.501 * constants.inch)


def test_formats() -> None:
    assert units.format_length(20.1) == "20.10 m"
    assert units.format_length(0.43) == "43.0 cm"
    assert units.format_length(4e-4) == "0.40 mm"
    assert units.format_length(66.25 * constants.foot, "imperial") == "66 ft 3 in"
    assert units.format_length(65.9999 * constants.foot, "imperial") == "66 ft 0 in"
    assert units.format_length(-0.1, "imperial") == "-3.94 in"
    assert units.format_angle(math.radians(12.34), 1) == "12.3°"
    with pytest.raises(InputError):
        units.format_length(1, "cubits")


def test_a_metre_less_a_hair_is_a_metre() -> None:
    assert [units.format_length(x) for x in (1.0, 0.9999999, 0.9996, 0.999)] == [
        "1.00 m",
        "1.00 m",
        "1.00 m",
        "99.9 cm",
    ]
