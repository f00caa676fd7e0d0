"""Layouts: what is derived must reproduce what was given, and the impossible is refused with its numbers."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tautwire.model.errors import InputError
from tautwire.model.wires.layout import LAYOUTS, build_layout, horizontal, inverted_l, inverted_v, sloper, vertical

RAD = math.radians
lengths = st.floats(2.0, 80.0)
slopes = st.floats(RAD(5), RAD(80))
feeds = st.floats(0.05, 10.0)
bearings = st.floats(-math.pi, math.pi)


def same(a, b, tolerance=1e-5):
    assert len(a.points) == len(b.points)
    for p, q in zip(a.points, b.points, strict=True):
        assert math.dist(p, q) < tolerance


@given(lengths, slopes, feeds, bearings)
def test_sloper_from_any_three_values_is_the_same_wire(length, slope, feed, bearing):
    first = sloper(length=length, slope=slope, feed_height=feed, bearing=bearing)
    values = {"length": first.length, "slope": first.slopes[0], "feed_height": first.feed_height}
    assert values == pytest.approx({"length": length, "slope": slope, "feed_height": feed})
    assert first.end_height == pytest.approx(feed + length * math.sin(slope))
    values["end_height"] = first.end_height
    for left_out in values:
        some = {k: x for k, x in values.items() if k != left_out}
        same(first, sloper(**some, bearing=bearing))
    same(first, sloper(**values, bearing=bearing))


@given(lengths, slopes, st.floats(0.05, 10.0))
def test_falling_sloper_is_the_rising_one_turned_round(length, slope, end):
    high = end + length * math.sin(slope)
    falling = sloper(length=length, slope=-slope, feed_height=high)
    assert falling.end_height == pytest.approx(end)
    assert falling.apex_height == pytest.approx(high)
    same(falling, sloper(slope=-slope, apex_height=high, end_height=end))


@given(lengths, slopes, slopes, st.floats(0.2, 0.8), feeds, bearings, bearings)
def test_inverted_v_from_any_settling_subset_is_the_same_wire(length, up, down, part, feed, bearing, turn):
    at = part * length
    end = feed + at * math.sin(up) - (length - at) * math.sin(down)
    assume(end > 0.02)
    way = {"bearing": bearing, "turn": turn}
    v = inverted_v(length=length, apex_at=at, slope_up=up, slope_down=down, feed_height=feed, **way)
    assert sum(v.legs) == pytest.approx(length)
    assert v.legs == pytest.approx((at, length - at))
    assert v.slopes == pytest.approx((up, -down))
    assert v.end_height == pytest.approx(end)
    whole = {
        "length": length,
        "apex_at": at,
        "slope_up": up,
        "slope_down": down,
        "feed_height": feed,
        "end_height": end,
        "apex_height": v.apex_height,
    }
    same(v, inverted_v(**whole, **way))
    for pair in (
        ("slope_up", "slope_down"),
        ("apex_height", "end_height"),
        ("apex_at", "apex_height"),
        ("feed_height", "end_height"),
        ("length", "feed_height"),
        ("apex_height", "slope_down"),
        ("length", "apex_at"),
    ):
        some = {k: x for k, x in whole.items() if k not in pair}
        same(v, inverted_v(**some, **way), 1e-4)


def test_defaults_are_a_feed_at_one_metre_and_an_apex_half_way():
    v = inverted_v(length=20, apex_height=7, end_height=2)
    assert v.feed_height == 1.0
    assert v.legs == pytest.approx((10, 10))
    assert sloper(length=20, slope=0.3).feed_height == 1.0


def test_bearing_is_clockwise_from_north():
    assert sloper(length=10, slope=0, feed_height=2, bearing=RAD(90)).points[1] == pytest.approx((10, 0, 2))
    v = inverted_v(length=20, apex_height=7, end_height=1, turn=RAD(90))
    assert v.points[2] == pytest.approx((8, 8, 1))


def test_simple_layouts():
    assert horizontal(length=20, height=6).points == ((0, 0, 6), (0, 20, 6))
    assert vertical(length=10).end_height == pytest.approx(11)
    bent = inverted_l(length=20, height=8, feed_height=1)
    assert bent.legs == pytest.approx((7, 13))
    assert bent.apex_height == bent.end_height == pytest.approx(8)


def refusal(kind, **params):
    with pytest.raises(InputError) as caught:
        build_layout(kind, **params)
    told = str(caught.value)
    assert "\n" not in told
    return told


def test_too_high_names_every_number():
    told = refusal("sloper", length=20, slope=RAD(25), feed_height=1, end_height=12)
    assert "a 20 m wire cannot reach 12 m up at 25 degrees from a feed at 1 m: that end is at 9.5 m" in told


@given(lengths, slopes, feeds, st.floats(0.1, 20))
def test_contradicting_values_are_refused_and_rounding_is_not(length, slope, feed, off):
    end = feed + length * math.sin(slope)
    assert sloper(length=length, slope=slope, feed_height=feed, end_height=end + 0.009).length == pytest.approx(length)
    sine = (end + off - feed) / length
    assume(sine > 1 or abs(math.asin(sine) - slope) > RAD(0.21))
    refusal("sloper", length=length, slope=slope, feed_height=feed, end_height=end + off)


@pytest.mark.parametrize(
    ("kind", "params", "words"),
    [
        ("sloper", {"length": 20}, "give slope or end_height"),
        ("sloper", {}, "give two of length, slope and end_height"),
        ("sloper", {"length": -5, "slope": 0.2}, "layout.length = -5 m"),
        ("sloper", {"length": math.nan, "slope": 0.2}, "layout.length = nan m"),
        ("sloper", {"length": 20, "slope": 2.0}, "from -90 to 90 degrees"),
        ("sloper", {"length": 5, "end_height": 12}, "at most 6 m"),
        ("sloper", {"length": 20, "slope": RAD(-25), "feed_height": 5}, "through the ground"),
        ("sloper", {"slope": RAD(-25), "feed_height": 1, "end_height": 5}, "never gets to 5 m"),
        ("sloper", {"length": 20, "slope": 0.2, "apex_height": 8, "end_height": 9}, "layout.apex_height = 8 m"),
        ("inverted_v", {"length": 20, "apex_height": 7}, "give slope_down or end_height"),
        ("inverted_v", {"length": 20, "apex_at": 25, "apex_height": 7}, "less than the wire's length of 20 m"),
        ("inverted_v", {"length": 20, "slope_up": -0.1, "slope_down": 0.5}, "layout.slope_up"),
        ("inverted_v", {"length": 20, "apex_height": 0.5, "end_height": 0.2}, "layout.apex_height = 0.5 m"),
        ("inverted_v", {"length": 30, "apex_height": 8, "slope_up": 1.2, "slope_down": 1.0}, "through the ground"),
        ("horizontal", {"length": 20}, "give height"),
        ("horizontal", {"length": 20, "height": 0.0}, "above the soil"),
        ("inverted_l", {"length": 20, "height": 27}, "layout.height = 27 m"),
        ("slopr", {"length": 20}, "did you mean 'sloper'?"),
        ("sloper", {"lenght": 20}, "did you mean 'length'?"),
    ],
)
def test_refusals_say_what_is_wrong(kind, params, words):
    assert words in refusal(kind, **params)


def test_every_layout_starts_at_the_feed():
    some = {"length": 20, "height": 6, "slope": 0.3, "apex_height": 7, "end_height": 2}
    for kind, builder in LAYOUTS.items():
        wanted = set(builder.__code__.co_varnames[: builder.__code__.co_argcount])
        params = {k: x for k, x in some.items() if k in wanted}
        if kind == "sloper":
            params = {"length": 20, "slope": 0.3}
        built = build_layout(kind.replace("_", " ").title(), **params)
        assert built.kind == kind
        assert built.points[0][:2] == (0, 0)
        assert built.length == pytest.approx(20)
