"""Figures: what they show, that no words overlap or are cut, that files do not change from run to run.

Stored pictures are in tests/images; `python tests/test_figures.py` draws them anew, to be looked at before committing.
"""

import io
import subprocess
import sys
import warnings
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pandas as pd
import pytest
from made_up_study import RAW, SLOPES, made_up_result, made_up_study
from matplotlib.colors import to_rgb
from matplotlib.patches import Circle
from matplotlib.patheffects import withStroke
from PIL import Image, ImageFilter

from tautwire.model.errors import InputError
from tautwire.model.feed.chain import FeedSystem
from tautwire.model.fields.stress import stress
from tautwire.model.operating.bands import band_named
from tautwire.model.soil.ground import FREE_SPACE
from tautwire.model.solve.solver import Solver
from tautwire.studies.drawing.axes import in_lengths
from tautwire.studies.drawing.labels import apart, outside, overlaps, spread, struck
from tautwire.studies.drawing.layout import layout_figure, layout_grid, projection
from tautwire.studies.drawing.style import LOOKS, RAMP, Heading, Look, Sheet, balanced, style
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Built, Setup
from tautwire.studies.wants.dips.curves import animate, drawn, smith_figure
from tautwire.studies.wants.dips.figures import KINDS, below, dip_figure_of, plots
from tautwire.studies.wants.exposure.figures import exposure_figure
from tautwire.studies.wants.pattern.figures import solid_figure
from tautwire.studies.wants.shield.figures import shield_figure
from tautwire.studies.wants.stress.figures import current_figure
from tautwire.studies.wants.stress.want import along_rows

IMAGES = Path(__file__).with_name("images")
SMALL = replace(LOOKS["print"], dpi=60)
TOLERANCE = 5.0  # rms of 255, blurred by 1.5 pixels: the same picture gives 1 (colours are rounded), a longer wire 13
SOILS = {"site.soil": ["average soil", "sea water", "very poor soil"]}
LAYOUTS = {
    "sloper": {"layout": "sloper", "length": "20.1 m", "feed_height": "1.2 m", "slope": "30 deg", "bearing": "70 deg"},
    "inverted V": {
        "layout": "inverted V", "length": "40.2 m", "feed_height": "1 m", "apex_height": "9 m", "end_height": "2 m",
        "turn": "50 deg",
    },
    "vertical": {"layout": "vertical", "length": "10 m", "feed_height": "50 cm"},
    "inverted L": {"layout": "inverted L", "length": "20.1 m", "height": "8 m", "bearing": "315 deg"},
}  # fmt: skip


def built(name: str) -> Built:
    raw = {k: v for k, v in RAW.items() if k != "study"}
    return Setup.read({**raw, "antenna": LAYOUTS[name]}).build()


@pytest.fixture(scope="module")
def slopes() -> Result:
    return made_up_result(made_up_study(sweep=SLOPES))


@pytest.fixture(scope="module")
def soils() -> Result:
    return made_up_result(made_up_study(sweep=SOILS))


def pictures(slopes: Result, soils: Result, size: str | Look) -> dict[str, Sheet]:
    """Every kind of figure, of made-up studies."""
    out = {f"slopes_{kind}": dip_figure_of(slopes, kind, size) for kind in KINDS}
    out |= {f"soils_{kind}": dip_figure_of(soils, kind, size) for kind in ("swr", "dip")}
    out |= {f"layout_{n.replace(' ', '_')}": layout_figure(built(n), Heading(n, size=size)) for n in LAYOUTS}
    out["layout_grid"] = layout_grid([(n, built(n)) for n in LAYOUTS], Heading("Ways up", size=size))
    return {name: sheet for name, sheet in out.items() if sheet is not None}


def blurred(pixels: np.ndarray) -> np.ndarray:
    return np.asarray(Image.fromarray(pixels).filter(ImageFilter.GaussianBlur(1.5)), dtype=float)


def difference(pixels: np.ndarray, stored: Path) -> float:
    """Rms difference of two blurred pictures, 0 to 255; 255 if their sizes differ."""
    other = np.asarray(Image.open(stored).convert("RGB"))
    if other.shape != pixels.shape:
        return 255.0
    return float(np.sqrt(np.mean((blurred(pixels) - blurred(other)) ** 2)))


@pytest.mark.parametrize("size", ["print", "talk", "slide"])
def test_no_words_overlap_are_cut_or_struck(slopes: Result, soils: Result, size: str) -> None:
    faults = {n: (overlaps(s), outside(s), struck(s)) for n, s in pictures(slopes, soils, size).items()}
    assert {n: f for n, f in faults.items() if f != ([], [], [])} == {}


def test_words_struck_by_a_line_a_ring_or_a_bar_are_seen() -> None:
    with style("print") as look:
        sheet = Sheet(look)
        ax = sheet.subplots()
        ax.set(xlim=(0, 10), ylim=(0, 10))
        ax.plot([0, 10], [8, 8])
        ax.add_patch(Circle((5, 5), 1, fill=False))
        ax.bar([2], [3.0], width=1)
        for x, y, name in ((1, 8, "on a line"), (5.8, 5, "on a ring"), (1.9, 3.0, "on a bar"), (8, 2, "clear")):
            ax.text(x, y, name, va="center")
        ax.text(8, 8, "backed", va="center", bbox={"facecolor": "white", "edgecolor": "none"})
        ax.text(6, 8, "haloed", va="center", path_effects=[withStroke(linewidth=2, foreground="white")])
    assert sorted(struck(sheet)) == ["on a bar", "on a line", "on a ring"]


def test_words_of_an_svg_are_words(slopes: Result, tmp_path: Path) -> None:
    sheet = dip_figure_of(slopes, "swr")
    assert sheet is not None
    sheet.savefig(tmp_path / "a.svg")
    told = (tmp_path / "a.svg").read_text()
    assert "frequency (MHz)" in told and sheet.title[:20] in told and "'DejaVu Sans', 'Verdana', sans-serif" in told


def test_titles_are_balanced_and_keep_units() -> None:
    title = "Hardly: the 20 m dip moves by 36 kHz between slope 50\u00b0 and slope 25\u00b0, 10 % of the band's 350 kHz"
    for room in range(20, 90):
        lines = balanced(title, room)
        assert " ".join(lines) == title and max(map(len, lines)) <= room
        assert not any(line.split()[0] in ("kHz", "m", "%", "50\u00b0", "25\u00b0") for line in lines)
        assert len(lines) < 2 or min(map(len, lines)) > 0.35 * max(map(len, lines))


def test_a_dip_that_hardly_moves_fills_its_panel_and_the_edges_are_said() -> None:
    few = made_up_result(made_up_study(sweep={"antenna.slope": ["30 deg", "31 deg", "32 deg"]}))
    sheet = dip_figure_of(few, "dip")
    assert sheet is not None
    for band, ax in zip(few.study.bands, sheet.axes, strict=False):
        dips = few.frames["dips"].query("band == @band.name")["dip_mhz"]
        low, high = ax.get_ylim()
        assert low < dips.min() and dips.max() < high and high - low < 0.2 * (band.upper - band.lower) / 1e6
        said = " ".join(t.get_text() for t in ax.texts)
        for edge, near in ((band.upper / 1e6, dips.max()), (band.lower / 1e6, dips.min())):
            assert low < edge < high or f"{abs(edge - near) * 1e3:.0f} kHz" in said


def test_lengths_are_in_feet_where_they_are_typed_so() -> None:
    with style("print") as look:
        sheet = Sheet(look)
        ax = sheet.subplots()
        ax.plot([0, 30.48], [0, 1])
        ax.set_xlabel("coax length (m)")
    in_lengths(sheet, "imperial")
    sheet.canvas.draw()
    assert ax.get_xlabel() == "coax length (ft)"
    told = {t.get_text(): x for t, x in zip(ax.get_xticklabels(), ax.get_xticks(), strict=True)}
    assert told["100"] == pytest.approx(30.48)


def test_overlaps_are_seen() -> None:
    with style("print") as look:
        sheet = Sheet(look)
        sheet.text(0.5, 0.5, "one word")
        sheet.text(0.52, 0.5, "another")
        sheet.text(0.99, 0.1, "cut off")
    assert overlaps(sheet) == [("one word", "another")]
    assert outside(sheet) == ["cut off"]


@pytest.mark.skipif(
    tuple(map(int, matplotlib.__version__.split(".")[:2])) < (3, 11),
    reason="the stored pictures have the letters of matplotlib 3.11",
)
def test_pictures_are_as_stored(slopes: Result, soils: Result) -> None:
    drawn_now = {name: sheet.pixels() for name, sheet in pictures(slopes, soils, SMALL).items()}
    assert set(drawn_now) == {p.stem for p in IMAGES.glob("*.png")}
    far = {n: d for n, p in drawn_now.items() if (d := difference(p, IMAGES / f"{n}.png")) > TOLERANCE}
    assert far == {}


def test_another_case_is_not_taken_for_the_stored_one() -> None:
    steep = {**RAW["antenna"], "length": "21 m"}  # type: ignore[dict-item]
    other = made_up_result(made_up_study(sweep=SLOPES, antenna=steep))
    for kind in ("swr", "dip"):
        sheet = dip_figure_of(other, kind, SMALL)
        assert sheet is not None
        assert difference(sheet.pixels(), IMAGES / f"slopes_{kind}.png") > TOLERANCE


def test_files_are_the_same_each_time_and_name_no_date_or_program(slopes: Result, tmp_path: Path) -> None:
    for kind in ("svg", "png"):
        for run in "ab":
            sheet = dip_figure_of(slopes, "swr")
            assert sheet is not None
            sheet.savefig(tmp_path / f"{run}.{kind}")
        first = (tmp_path / f"a.{kind}").read_bytes()
        assert first == (tmp_path / f"b.{kind}").read_bytes()
        assert b"atplotlib v" not in first and b"dc:date" not in first and b"Software" not in first


def test_a_figure_needs_no_global_state() -> None:
    """Worker processes and servers must be able to draw."""
    code = (
        "import sys, matplotlib\n"
        "before = {k: matplotlib.rcParams[k] for k in ('font.size', 'axes.grid', 'svg.hashsalt')}\n"
        "from tautwire.studies.drawing.style import Sheet, style\n"
        "with style('talk') as look:\n    Sheet(look).subplots()\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
        "assert before == {k: matplotlib.rcParams[k] for k in before}"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_sizes() -> None:
    talk = LOOKS["talk"]
    assert talk.width / talk.height == pytest.approx(16 / 9)
    assert talk.type >= 18
    with pytest.raises(InputError, match="print, talk"), style("poster"):
        pass


def test_a_study_gets_the_figures_its_axes_call_for(slopes: Result, soils: Result) -> None:
    assert {stem for stem, _ in plots(slopes)} == {
        "layout",
        "layout_last",
        "swr",
        "dip",
        "impedance",
        "smith",
        "smith_radio",
        "modes",
    }
    assert set(dict(plots(soils))) == {"layout", "swr", "dip", "impedance", "smith", "smith_radio", "modes"}
    single = made_up_result(made_up_study())
    assert set(dict(plots(single))) == {"layout", "swr", "impedance", "smith", "smith_radio"}
    nothing = Result(slopes.study, {}, [])
    assert set(dict(plots(nothing))) == {"layout", "layout_last"}


def test_shading_agrees_with_the_width_of_the_continuous_response(slopes: Result) -> None:
    sweeps, dips = slopes.frames["sweeps"], slopes.frames["dips"]
    compared = 0
    for row in dips.to_dict("records"):
        mine = sweeps[(sweeps["band"] == row["band"]) & (sweeps["slope_deg"] == row["slope_deg"])]
        low, high = below(mine, row["dip_mhz"], 2.0)
        step = mine["f_mhz"].diff().median()
        assert (high - low) * 1e3 == pytest.approx(row["width_2to1_khz"], abs=step * 1e3)
        compared += 1
    assert compared == 20


def test_no_shading_where_the_dip_stays_above(slopes: Result) -> None:
    mine = slopes.frames["sweeps"].head(201)
    assert np.isnan(below(mine, float(slopes.frames["dips"]["dip_mhz"][0]), 1.0)).all()
    assert np.isnan(below(mine, float("nan"), 2.0)).all()


def test_smith_rings_are_where_the_textbook_puts_them(slopes: Result) -> None:
    """Circle of resistance r: centre r/(1+r) on the axis, radius 1/(1+r) (any transmission-line text, from memory)."""
    sheet = smith_figure(slopes.frames["sweeps"], slopes.study.bands, slopes.study.axes)
    curves = [np.column_stack(line.get_data()) for line in sheet.axes[0].lines]
    for r in (0.2, 1.0, 5.0):
        away = [np.abs(np.hypot(c[:, 0] - r / (1 + r), c[:, 1]) - 1 / (1 + r)).max() for c in curves if len(c) > 100]
        assert min(away) < 1e-6


def test_projection_keeps_plumb_lines_plumb_and_scale() -> None:
    pair = projection([(3, 4, 0), (3, 4, 5)], 0.7)
    assert pair[0, 0] == pytest.approx(pair[1, 0])
    steps = projection([(0, 0, 0), (1, 0, 0), (2, 0, 0)], 0.7)
    assert steps[1] - steps[0] == pytest.approx(steps[2] - steps[1])


def test_a_wire_that_sags_is_named_at_its_corners_only() -> None:
    raw = {k: v for k, v in RAW.items() if k != "study"}
    sagging = Setup.read({**raw, "antenna": {**LAYOUTS["inverted V"], "sag": "6 in"}}).build()
    assert len(sagging.layout.points) > 3
    told = [[t.get_text() for t in ax.texts] for ax in layout_figure(sagging).axes]
    assert [sum(t.startswith(w) for t in told[0]) for w in ("feed", "apex", "corner", "end")] == [1, 1, 0, 1]
    assert told[0].count("20.10 m") == 2  # a length a leg, as given
    straight = layout_figure(built("inverted V"))
    assert [len(ax.texts) for ax in straight.axes] == [len(t) for t in told]


def near(built: Built, across: str, up: str, section: bool) -> pd.DataFrame:
    """A made-up map of exposure: falls with the distance from the first conductor's ends, known within 3 m of them."""
    b = built.layout.bearing
    ends = np.array([built.layout.points[0], built.layout.points[-1]])
    flat = np.stack([ends[:, :2] @ [np.sin(b), np.cos(b)], ends[:, 2]], axis=1) if section else ends[:, :2]
    x, y = np.meshgrid(np.arange(-5, 25, 0.5), np.arange(0 if section else -5, 25, 0.5))
    far = np.min([np.hypot(x - e[0], y - e[1]) for e in flat], axis=0)
    known = far < 3
    return pd.DataFrame({across: x[known], up: y[known], "quotient": 2 / (0.3 + far[known]) ** 2})


@pytest.mark.parametrize("size", ["print", "talk", "slide"])
def test_words_of_exposure_maps_do_not_run_together(size: str) -> None:
    for name in LAYOUTS:
        made = built(name)
        plan, section = near(made, "east_m", "north_m", False), near(made, "along_m", "height_m", True)
        sheet = exposure_figure(
            plan, section, made, (np.array([0.0, 0.0, 1.0]), 0.0), Heading("20 m: stay 1.0 m clear", "Made up", size)
        )
        assert (overlaps(sheet), outside(sheet)) == ([], []), name
        left, right, _ = sheet.axes
        boxes = [ax.get_position() for ax in (left, right)]
        gap = (sheet.top - max(b.y1 for b in boxes)) * sheet.get_figheight()
        assert 0 < gap < 3 * sheet.look.type / 72  # the maps begin below the heading
        for ax, box in zip((left, right), boxes, strict=True):  # scales are equal, the legend is beside the maps
            wide, high = box.width * sheet.get_figwidth(), box.height * sheet.get_figheight()
            assert np.ptp(ax.get_xlim()) / wide == pytest.approx(np.ptp(ax.get_ylim()) / high)
            key = sheet.legends[0].get_window_extent()
            assert not key.overlaps(ax.bbox)


def test_a_shield_without_current_is_drawn_without_complaint() -> None:
    rows = pd.DataFrame({"band": ["20 m"], "variant": ["as built"], "dip_shift_khz": [0.0]})
    along = pd.DataFrame({"band": "20 m", "variant": "as built", "along_m": [0.0, 5.0], "amps": [0.0, 0.0]})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        shield_figure(rows, along, [band_named("20 m", 1)]).pixels()


def test_solid_patterns_of_an_odd_number_of_bands() -> None:
    up, round_ = (a.ravel() for a in np.meshgrid(np.arange(0, 91, 30.0), np.arange(0, 361, 30.0)))
    bands = [band_named(name, 1) for name in ("40 m", "20 m", "10 m")]
    one = pd.DataFrame({"elevation_deg": up, "azimuth_deg": round_, "gain_dbi": 3.0})
    sphere = pd.concat([one.assign(band=b.name) for b in bands])
    table = pd.DataFrame({"band": [b.name for b in bands], "bearing_deg": 50.0})
    assert solid_figure(sphere, table, bands, []).pixels().std() > 5


def test_currents_of_wire_and_returns_balance_at_the_feed() -> None:
    made = built("sloper")
    solution = Solver(made.structure, FREE_SPACE, made.rules).solve(14.1e6)
    starts = [
        complex((solution.segments.current[np.flatnonzero(solution.mesh.conductor == i)[0]] @ solution.current)[0])
        for i in range(3)
    ]
    assert abs(sum(starts)) < 1e-9 * abs(starts[0])
    level = stress(solution, made.structure, FeedSystem(), 10, 1.0)
    frame = pd.DataFrame(along_rows("20 m", made.structure, solution, level))
    wire = frame[frame["conductor"] == "wire"]
    assert wire["along_m"].iloc[-1] == pytest.approx(20.1) and wire["amps"].iloc[-1] < 1e-9
    scale = np.sqrt(level.wire_w / solution.admittance.real)
    own = np.abs(solution.current)[solution.mesh.conductor == 0].max() * scale
    assert own * (1 - 1e-6) <= wire["amps"].max() <= own * 1.01  # between two middles it may be a little more
    sheet = current_figure(frame, made.structure)
    shown = [line.get_ydata() for line in sheet.axes[0].lines if len(line.get_ydata()) > 50]  # type: ignore[arg-type]
    assert len(shown) == 3 and max(y.max() for y in shown) == wire["amps"].max()  # type: ignore[union-attr]
    assert overlaps(sheet) == [] == outside(sheet)


def test_spread_keeps_order_and_gaps() -> None:
    widths = [2.0, 3.0, 1.0, 2.0]
    places = spread([5.0, 5.1, 4.9, 9.5], widths, 0, 10, 0.5)
    assert places is not None
    order = np.argsort(places)
    assert list(order) == [2, 0, 1, 3]
    for i, j in zip(order, order[1:], strict=False):
        assert places[j] - places[i] >= (widths[i] + widths[j]) / 2 + 0.5 - 1e-9
    assert places[3] + 1 <= 10 + 1e-9 and places[2] - 0.5 >= -1e-9
    assert spread([1, 2], [6, 6], 0, 10, 0) is None


def test_shapes_apart() -> None:
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float)
    assert not apart(square, np.array([[-1, 0.5], [2, 0.5]]))
    assert apart(square, np.array([[0.9, 1.3], [1.4, 0.8]]))
    assert not apart(square, np.array([[0.6, 1.3], [1.3, 0.6]]))


def test_animation(slopes: Result) -> None:
    data = animate(slopes, "20 m")
    assert len(data) < 1.5e6
    with Image.open(io.BytesIO(data)) as gif:
        assert gif.n_frames == 18  # ten there, eight back
    frames = drawn(slopes, "20 m")
    steps = [np.abs(a.astype(int) - b).mean() for a, b in zip(frames, frames[1:], strict=False)]
    assert min(steps) > 0.05


def test_animation_refuses_what_it_cannot_show(slopes: Result, soils: Result) -> None:
    with pytest.raises(InputError, match="--animate = .*axis of two numbers"):
        animate(soils)
    with pytest.raises(InputError, match="40 m, 20 m"):
        animate(slopes, "6 m")


def test_ramp_goes_from_light_to_dark() -> None:

    light = [float(np.dot(to_rgb(RAMP(x)), [0.2126, 0.7152, 0.0722])) for x in np.linspace(0, 1, 20)]
    assert (np.diff(light) < 0).all()


if __name__ == "__main__":
    IMAGES.mkdir(exist_ok=True)
    first = made_up_result(made_up_study(sweep=SLOPES))
    second = made_up_result(made_up_study(sweep=SOILS))
    for name, sheet in pictures(first, second, SMALL).items():
        Image.fromarray(sheet.pixels()).quantize(128).save(IMAGES / f"{name}.png", optimize=True)
