"""Tables of what can be named in a study file: soils, cables, cores, bands, layouts, wants, columns; with sources."""

import importlib
import inspect
from collections.abc import Callable

from tautwire.model.feed.coax import COAX_TYPES
from tautwire.model.feed.ferrite import FERRITES, TOROIDS
from tautwire.model.operating.bands import band_segments, bands
from tautwire.model.soil.ground import GROUNDS, STACKS, TYPICAL
from tautwire.model.wires.layout import LAYOUTS
from tautwire.studies.study.columns import COLUMNS, facts, type_of, unit_of
from tautwire.studies.study.units import INCH
from tautwire.studies.wants.want import WANTS, want_named

Table = list[tuple[str, ...]]
"""The first row is the heading."""


def soils(region: object = 1) -> Table:
    return [
        ("soil", "constants", "usual range", "source"),
        *((name, g.words(), _range(name), g.source) for name, g in {**GROUNDS, **STACKS}.items()),
    ]


def _range(name: str) -> str:
    """Between what a soil's constants usually lie, empty where that is not known or no range."""
    known = TYPICAL.get(name)
    spread = known is not None and (known.er[0] < known.er[1] or known.sigma[0] < known.sigma[1])
    return known.words() if known is not None and spread else ""


def coax(region: object = 1) -> Table:
    rows: Table = [("coax", "ohm", "speed", "dB/100 m at 7", "14", "28 MHz", "shield mm", "source")]
    for name, c in COAX_TYPES.items():
        loss = (f"{float(c.loss_db(100.0, f)):.1f}" for f in (7e6, 14e6, 28e6))
        rows.append((name, f"{c.z0:g}", f"{c.velocity_factor:g}", *loss, f"{c.shield_diameter * 1e3:.2f}", c.source))
    return rows


def cores(region: object = 1) -> Table:
    rows: Table = [("core", "at 3.5 MHz", "14 MHz", "28 MHz", "source")]
    for name, f in FERRITES.items():
        mu = (complex(f.permeability(x)) for x in (3.5e6, 14e6, 28e6))
        rows.append((name, *(f"{m.real:.0f} - j{-m.imag:.0f}" for m in mu), f.source))
    for name, t in TOROIDS.items():
        sizes = f"{t.outer * 1e3:.1f} x {t.inner * 1e3:.1f} x {t.height * 1e3:.1f} mm ({t.outer / INCH:.2g} in)"
        rows.append((name, "ring", sizes, "", "common practice, no source"))
    return rows


def bands_table(region: object = 1) -> Table:
    rows: Table = [("band or segment", "MHz", "source", "note")]
    for band in bands(region):
        rows.append((band.name, _edges(band.lower, band.upper), band.source, band.note))
        inside = [s for s in band_segments(region) if s.band == band.name]
        rows += [(s.name, _edges(s.lower, s.upper), s.source, "") for s in inside]
    return rows


def _edges(lower: float, upper: float) -> str:
    return f"{lower / 1e6:.6g} to {upper / 1e6:.6g}"


def layouts(region: object = 1) -> Table:
    rows: Table = [("layout", "how it hangs", "keys, as far as they are needed")]
    for name, build in LAYOUTS.items():
        words = (inspect.getdoc(build) or "").split("\n\n")[0].split(". ")[0].replace("\n", " ").rstrip(".")
        rows.append(
            (
                name.replace("_", " "),
                words.replace(" (m)", "").replace(" (rad)", ""),
                ", ".join(inspect.signature(build).parameters),
            )
        )
    return rows


def wants(region: object = 1) -> Table:
    rows: Table = [("want", "what it answers", "options")]
    for name in WANTS:
        module = importlib.import_module(f"tautwire.studies.wants.{name}.want")
        words = (module.__doc__ or "").split("\n\n")[0].replace("\n", " ").removeprefix(f'Want "{name}": ').rstrip(".")
        options = (n for n, f in want_named(name).options.model_fields.items() if not f.validation_alias)
        rows.append((name, words, ", ".join(options) or "-"))
    return rows


def columns(region: object = 1) -> Table:
    tables: dict[str, list[str]] = {}
    for fact in facts():
        tables.setdefault(fact.column, []).append(fact.table)
    return [
        ("column", "unit", "type", "tables", "meaning"),
        *((name, unit_of(name), type_of(name), ", ".join(tables.get(name, [])), words)
          for name, words in COLUMNS.items()),
    ]  # fmt: skip


LISTS: dict[str, Callable[[object], Table]] = {
    "soils": soils, "coax": coax, "cores": cores, "bands": bands_table, "layouts": layouts, "wants": wants,
    "columns": columns,
}  # fmt: skip
NOTES = {
    "soils": "Usual ranges: GeoSci.xyz, electromagnetics, typical values. "
    'Write your own as a table: { er = 13, sigma = "5 mS/m" }, or { moisture = 0.15 }, water as '
    '{ salinity = "0.2 g/kg", temperature = "15 C" }, or a list of layers.',
    "coax": "Loss is matched loss. Write your own cable as a table: coax.type.",
    "cores": "Complex permeability. Rings are given by outer, inner diameter and height.",
    "bands": "From memory, and national rules are often narrower or have changed: check the text in force where you "
    'transmit. A range of your own is written "13.9-14.4 MHz".',
    "layouts": "Give any subset of lengths, heights and slopes that settles the wire; more are accepted if they agree.",
    "wants": "Put names into [study] want; options go into a table of that name.",
    "columns": "Stable: new ones may come, none change meaning.",
}
