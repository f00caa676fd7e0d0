"""tautwire predict: one set-up, no file."""

import json
import math
import re
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from tautwire.model.errors import InputError
from tautwire.model.operating.bands import band_named, band_of
from tautwire.studies.commands.shared import ALL, CASE_TIMEOUT, aligned, dips_text
from tautwire.studies.logbook.logbook import LOG, kept_dips
from tautwire.studies.reports.answers import told
from tautwire.studies.running.one_setup import predicted
from tautwire.studies.running.store import Store
from tautwire.studies.study.files import load_tables
from tautwire.studies.study.parts import as_written
from tautwire.studies.study.raw import changed
from tautwire.studies.study.result import Result, Rows
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.units import frequency, length, plain
from tautwire.studies.wants.dips.reading import PARTS, at_frequency
from tautwire.studies.wants.fit.fitted import FROM, PLACE, with_fit, without
from tautwire.studies.wants.give_or_take import give_of

SHOWN = "What to show"
GROUPS = {
    "The wire and how it hangs": ("layout", "length", "slope", "slope-up", "slope-down", "feed-height", "end-height",
                                  "apex-height", "apex-at", "height", "wire", "awg", "jacket"),
    "The ground and what returns the current": ("soil", "counterpoise", "counterpoise-height", "coax-length",
                                                "coax-height", "coax", "choke-at"),
    "The transformer": ("ratio", "core", "core-size", "cores", "primary-turns"),
    SHOWN: ("bands", "region", "spread", "all", "json", "at", "from", "timeout"),
}  # fmt: skip
"""headings of the help -> options, the most important first"""

# option -> dotted key of the set-up
OPTIONS: dict[str, tuple[str, str, str | None]] = {
    "layout": ("antenna.layout", "sloper, inverted V, inverted L, horizontal or vertical.", "sloper"),
    "length": ("antenna.length", 'Wire length, "19.8 m" or "66 ft".', "19.8 m"),
    "slope": ("antenna.slope", 'Slope of a sloper, "30 deg"; negative falls from the feed.', None),
    "slope-up": ("antenna.slope_up", "Slope of the first leg.", None),
    "slope-down": ("antenna.slope_down", "Slope of the second leg.", None),
    "feed-height": ("antenna.feed_height", 'Height of the feed, "1.2 m".', None),
    "end-height": ("antenna.end_height", "Height of the far end.", None),
    "apex-height": ("antenna.apex_height", "Height of the highest point.", None),
    "apex-at": ("antenna.apex_at", "Distance along the wire to the apex.", None),
    "height": ("antenna.height", "Height of a horizontal run.", None),
    "soil": ("site.soil", "A named soil, such as 'average soil'.", "average soil"),
    "wire": ("wire.diameter", 'Conductor diameter, "0.8 mm".', "0.8 mm"),
    "awg": ("wire.awg", "Gauge of the conductor, in place of its diameter.", None),
    "jacket": ("wire.jacket", 'Thickness of the insulation, "0.3 mm"; 0 for bare wire.', "0.3 mm"),
    "counterpoise": ("counterpoise.length", "Length of a counterpoise wire; 0 for none.", "0"),
    "counterpoise-height": ("counterpoise.height", "Height at which it lies.", "5 cm"),
    "coax": ("coax.type", "Coax type.", "RG-58"),
    "coax-length": ("coax.length", "Length of the coax; 0 for none.", "5 m"),
    "coax-height": ("coax.height", "Height at which it lies.", "2 cm"),
    "choke-at": ("coax.choke.at", "Distance of a choke from the transformer.", None),
    "ratio": ("transformer.turns_ratio", "Turns ratio; 7 for a 49:1 impedance ratio.", "7"),
    "core": ("transformer.core.material", "Core material of the transformer.", "mix 43"),
    "core-size": ("transformer.core.size", 'Its size, "36 mm" or "1.4 in".', "36 mm"),
    "cores": ("transformer.core.stack", "How many such rings, stacked.", "1"),
    "primary-turns": ("transformer.primary_turns", "Turns of the primary.", "2"),
}  # fmt: skip

DECIMALS = 9  # of the numbers in JSON
STUDY_KEYS = {"study.bands": "--bands", "study.region": "--region"}
KEYS = STUDY_KEYS | {path: f"--{name}" for name, (path, _, _) in OPTIONS.items()} | {
    "coax": "--coax-length",
    "counterpoise.1.length": "--counterpoise",
    "counterpoise.1.height": "--counterpoise-height",
}  # fmt: skip


def setup_of(given: dict[str, str | None]) -> dict[str, Any]:
    """The raw set-up of option values; counterpoise or coax of length 0 are left out."""
    values = {OPTIONS[name][0]: value for name, value in given.items() if value is not None}
    for part in ("counterpoise", "coax"):
        if length(values.get(f"{part}.length", "0"), f"{part}.length") == 0:
            values = {k: v for k, v in values.items() if not k.startswith(f"{part}.")}
    if "wire.awg" in values:
        values = {k: v for k, v in values.items() if k != "wire.diameter" or v != OPTIONS["wire"][2]}
    if values.get("antenna.layout") == "sloper" and not {
        "antenna.slope",
        "antenna.end_height",
        "antenna.apex_height",
    } & {*values}:
        values["antenna.slope"] = "30 deg"
    raw: dict[str, Any] = {}
    for path, value in values.items():
        raw = changed(raw, path, _number(path, value))
    if "counterpoise" in raw:
        raw["counterpoise"] = [raw["counterpoise"]]
    return raw


NUMBERS = {"transformer.turns_ratio": float, "wire.awg": float, "transformer.core.stack": int,
           "transformer.primary_turns": int}  # fmt: skip


def _number(path: str, text: str) -> Any:
    """The value of an option as a study file has it: a number for those of NUMBERS, if it is one."""
    try:
        number = NUMBERS[path](text) if path in NUMBERS else text
    except ValueError:
        return text
    return text if isinstance(number, float) and not math.isfinite(number) else number


FREQUENCY = re.compile(r"\d+\.\d*|\d+\.?\d*\s*[kM]Hz", re.IGNORECASE)


def asked(bands: str, region: str) -> tuple[list[str], list[float]]:
    """Bands and single frequencies (Hz) of a list such as "20 m, 7.074, 14.285 MHz"; without a unit, MHz.

    The band that holds a frequency is asked for too, or a hundredth either side where none does.

    >>> asked("15 m, 7.074, 13.5 MHz", "1")
    (['15 m', '40 m', '13.365-13.635 MHz'], [7074000.0, 13500000.0])
    """
    names, single = [], []
    for word in (b.strip() for b in bands.split(",") if b.strip()):
        if not FREQUENCY.fullmatch(word):
            names.append(word)
            continue
        f_hz = frequency(word if word[-1] in "zZ" else f"{word} MHz", "--bands")
        band = band_of(f_hz, region)
        names.append(f"{f_hz * 0.99e-6:.5g}-{f_hz * 1.01e-6:.5g} MHz" if band is None else band.name)
        single.append(f_hz)
    return list(dict.fromkeys(names)), single


def fitted_setup(fit: Path, given: dict[str, str | None]) -> dict[str, Any]:
    """The raw set-up of a fit's file and its [spread], changed by the option values that were given.

    A value given anew has its usual spread again.
    """
    raw = with_fit({}, fit)
    anew = [OPTIONS[name][0] for name, value in given.items() if value is not None]
    raw["spread"] = without(raw.get("spread", {}), anew)
    if given.get("counterpoise") and not raw.get("counterpoise"):
        raw["counterpoise"] = [{}]
    for name, value in given.items():
        raw = changed(raw, OPTIONS[name][0], value) if value is not None else raw
    return raw


PARTNERS = {"counterpoise": "counterpoise", "coax": "coax-length"}  # table -> the option without which it is not there


def check_partners(written: Iterable[str], given: Mapping[str, str | None], fit: Path | None) -> None:
    """Raises InputError for an option that says something about a counterpoise or coax that is not there.

    written: options really written, of all that are given.
    """
    there = setup_of({n: v for n, v in given.items() if v is not None}) if fit is None else with_fit({}, fit)
    for name in written:
        table = OPTIONS[name][0].partition(".")[0]
        partner = PARTNERS.get(table)
        if partner and name != partner and not there.get(table) and not (fit and given.get(partner)):
            raise InputError(f"--{name}", repr(given[name]), f"--{partner} above 0 beside it: there is none now")


class Grouped(click.Command):
    """A command whose help lists its options under headings, the most important first."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        records = {p.opts[0].lstrip("-"): p.get_help_record(ctx) for p in self.get_params(ctx)}
        grouped = {name for names in GROUPS.values() for name in names}
        others = [name for name in records if name not in grouped]
        for heading, names in {**GROUPS, SHOWN: (*GROUPS[SHOWN], *others)}.items():
            with formatter.section(heading):
                formatter.write_dl([record for name in names if (record := records.get(name))])


@click.command("predict", cls=Grouped)
@click.option("--bands", default="40 m, 20 m, 15 m, 10 m", show_default=True, help="Bands, separated by commas.")
@click.option("--region", default="1", show_default=True, help="1, 2 or 3 (ITU), or US.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
@click.option("--spread/--no-spread", default=True, show_default=True, help="Say how sure dips and SWR are.")
@ALL
@FROM
@CASE_TIMEOUT
@click.pass_context
def COMMAND(
    context: click.Context,
    bands: str,
    region: str,
    as_json: bool,
    spread: bool,
    everything: bool,
    fit: Path | None,
    timeout: float,
    **options: str | None,
) -> None:
    """Predict dips, SWR and feed impedance of one set-up."""
    given = {name.replace("_", "-"): value for name, value in options.items()}
    written = [n.replace("_", "-") for n in options if context.get_parameter_source(n) is not ParameterSource.DEFAULT]
    if fit is not None:  # the file's values count, unless an option is really given
        given = {name: given[name] for name in written}
    check_partners(written, given, fit)
    assumed = [OPTIONS[n][0] for n in given if n not in written]
    keys = KEYS if fit is None else STUDY_KEYS | {OPTIONS[name][0]: f"--{name}" for name in written}
    with as_written(keys=keys):
        setup = setup_of(given) if fit is None else fitted_setup(fit, given)
        names, single = asked(bands, region)
        learned = None
        if spread and PLACE in context.meta:
            from tautwire.studies.learned.place import at_place, with_learned

            learned = at_place(context.meta[PLACE], setup, [band_named(n, region) for n in names], Store())
            setup = setup if learned is None else learned.raw
        result = predicted(setup, names, region, timeout, spread)
        if learned is not None:
            with_learned(result, learned.found)
    rows = result.rows("dips")
    there = _measured(fit, setup, region, result, timeout)
    hung = {k: v for k, v in setup.items() if k != "spread"}
    own = [] if result.failed else _at(hung, single)
    if as_json:
        answer = {"setup": setup, "bands": plain(rows, DECIMALS),
                  "all_dips": plain(result.rows("all_dips"), DECIMALS),
                  "spread": plain(result.rows("spread"), DECIMALS), "frequencies": own,
                  "measured": there,
                  "failed": [f.reason for f in result.failed],
                  "learned": [] if learned is None else learned.sentences(),
                  "marks": sorted({row["marks"] for row in result.marked()})}  # fmt: skip
        click.echo(json.dumps(answer, indent=2))
    else:
        said = [] if learned is None else learned.sentences()
        measured = [] if learned else [measured_words(row) for row in there]  # what is learned counts it already
        click.echo("\n".join([*said, *measured, answer_text(result, rows, own, assumed, everything)]))
    if result.failed:
        raise click.exceptions.Exit(1)


def answer_text(result: Result, rows: Rows, own: Rows, assumed: Collection[str] = (), everything: bool = False) -> str:
    """The verdict, the tables, how sure, what to do next, cautions; everything: then the details.

    rows: of the table "dips". own: what the radio sees at the user's own frequencies.
    """
    tables = [dips_text([{**give_of(result, row), **row} for row in rows])] if rows else []
    if any(math.isnan(row["dip_mhz"]) for row in rows):
        tables.append("In brackets: at the middle of the band, where there is no dip.")
    if own:
        tables.append(frequency_table(own))
    return told(result, tables, assumed, everything)


def _measured(
    fit: Path | None, setup: dict[str, Any], region: str, result: Result, timeout: float
) -> list[dict[str, Any]]:
    """Of each band of `result` with a dip in the logbook's entry `fit`: the day, that dip, and the one this model has
    for the set-up kept there; and where it is to be expected with this set-up, if both differ by the same factor. MHz.
    """
    if fit is None or LOG not in load_tables(fit):
        return []
    rows = {row["band"]: row["dip_mhz"] for row in result.rows("dips")}
    dips = {band: dip for band, dip in kept_dips(fit).items() if not math.isnan(rows.get(band, math.nan))}
    if not dips:
        return []
    was, then = with_fit({}, fit), rows
    if any(setup.get(key) != was.get(key) for key in {*setup, *was} - {"spread"}):
        before = predicted(was, list(dips), region, timeout, spread=False)
        then = {row["band"]: row["dip_mhz"] for row in before.rows("dips")}
    found = []
    for band, (day, f_hz) in dips.items():
        measured, computed = f_hz / 1e6, float(then.get(band, math.nan))
        if not math.isnan(computed):
            expected = float(rows[band]) * measured / computed
            found.append({"band": band, "date": day, "measured_mhz": measured, "computed_mhz": computed,
                          "expected_mhz": expected})  # fmt: skip
    return found


def measured_words(row: dict[str, Any]) -> str:
    """What was measured at a place, and what that says of the prediction, in a line."""
    off = (row["computed_mhz"] - row["measured_mhz"]) * 1e3
    differs = f"{abs(off):.0f} kHz {'below' if off > 0 else 'above'} this model" if abs(off) >= 0.5 else "as computed"
    measured = f"Measured there on {row['date']}: {row['band']} dip at {row['measured_mhz']:.3f} MHz, {differs}"
    return f"{measured}; by that, expect it at {row['expected_mhz']:.3f} MHz."


def _at(setup: dict[str, Any], f_hz: list[float]) -> list[dict[str, Any]]:
    """What the radio sees at each frequency, Hz."""
    if not f_hz:
        return []
    here = Setup.read(setup)
    solver = here.build().solver(Store())
    return [at_frequency(solver, here.feed_system(), f) for f in f_hz]


def frequency_table(rows: list[dict[str, Any]]) -> str:
    """The user's own frequencies as aligned text: SWR, what radio and transformer see, where the power goes."""
    head = ("MHz", "SWR", "radio sees, ohm", "wire's end, ohm", "reflected", "coax", "core", "winding", "to the wire")
    lines: list[tuple[str, ...]] = [head]
    for row in rows:
        ohms = [f"{row[f'{at}_r_ohm']:.0f} {row[f'{at}_x_ohm']:+.0f}j" for at in ("radio", "feed")]
        percent = [f"{row[f'{part}_percent']:.0f} %" for part in PARTS]
        lines.append((f"{row['f_mhz']:.3f}", f"{row['swr']:.2f}", *ohms, *percent))
    return aligned(lines, ">")


for _name, (_path, _help, _default) in OPTIONS.items():
    COMMAND = click.option(f"--{_name}", default=_default, show_default=_default is not None, help=_help)(COMMAND)
COMMAND.params.reverse()  # declared last, but read first
