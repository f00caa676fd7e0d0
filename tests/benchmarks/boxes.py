"""Measures the boxes of every figure and slide of hard studies, and writes results/boxes/summary.md.

    python tests/benchmarks/boxes.py

Hard: 128 variants, seven bands, long names, two and three axes. Their wires are made up (tests/made_up_study.py), so
that drawing alone is tried. Ready-made studies: --ready, which computes them.
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from boxes import figure_faults, slide_faults  # noqa: E402
from made_up_study import RAW, SLOPES, made_up_result, made_up_study  # noqa: E402

from tautwire.studies.commands.shared import study_asked  # noqa: E402
from tautwire.studies.reports.page import figures_of  # noqa: E402
from tautwire.studies.reports.slides import Deck, slides  # noqa: E402
from tautwire.studies.running.runner import run  # noqa: E402
from tautwire.studies.running.store import Store  # noqa: E402
from tautwire.studies.study.files import load_tables  # noqa: E402
from tautwire.studies.study.result import Result  # noqa: E402

ROOT = Path(__file__).parents[2]
SEVEN = ["80 m", "40 m", "30 m", "20 m", "17 m", "15 m", "10 m"]
LONG = "inverted V over the third branch of the old oak, number"
OTHERS = ("template", "fit-lakeside")  # a pattern to fill in; one that needs sweeps


def hard() -> dict[str, Result]:
    """Name -> result."""
    v = {**RAW["antenna"]}  # type: ignore[dict-item]
    many = [{"name": f"number {i}", "antenna": {**v, "slope": f"{15 + i / 4} deg"}} for i in range(128)]
    named = [{"name": f"{LONG} {i}", "antenna": {**v, "slope": f"{15 + 9 * i} deg"}} for i in range(4)]
    lengths = {"coax.length": ["2 m", "5 m", "8 m", "11 m", "14 m"], "antenna.slope": ["15 deg", "30 deg", "45 deg"]}
    head = {**RAW["study"]}  # type: ignore[dict-item]
    studies = {
        "ten slopes": made_up_study(sweep=SLOPES),
        "128 variants": made_up_study(variant=many),
        "seven bands": made_up_study(study={**head, "bands": SEVEN}, sweep=SLOPES),
        "long names": made_up_study(variant=named),
        "two axes": made_up_study(sweep=lengths),
        "three axes": made_up_study(sweep={**lengths, "site.soil": ["sea water", "average soil", "poor soil"]}),
    }
    return {name: made_up_result(study) for name, study in studies.items()}


def ready() -> dict[str, Result]:
    files = {f.stem: f for f in sorted((ROOT / "studies" / "ready").glob("*.toml")) if f.stem not in OTHERS}
    return {name: run(study_asked(load_tables(file), file), Store()) for name, file in files.items()}


def faults(result: Result, folder: Path) -> tuple[int, list[str]]:
    """How many figures and slides there are, and what is wrong with them."""
    sheets = dict(figures_of(result, Store()))
    found, shown, plain = [], [], Deck.picture

    def picture(self: Deck, title: str, sheet, alt: str, notes) -> None:  # type: ignore[no-untyped-def]
        shown.append(title)
        found.extend(f"on a slide, {title[:30]}: {fault}" for fault in figure_faults(sheet))  # as it is first laid out
        plain(self, title, sheet, alt, notes)

    Deck.picture = picture  # type: ignore[method-assign]
    try:
        deck = slides(result, folder / "deck.pptx", Store())
    finally:
        Deck.picture = plain  # type: ignore[method-assign]
    found += [f"{stem}: {fault}" for stem, figure in sheets.items() for fault in figure_faults(figure)]
    return len(sheets) + len(shown), found + list(slide_faults(deck))


def main() -> None:
    results = hard() | (ready() if "--ready" in sys.argv else {})
    lines = ["# Boxes of figures and slides", "Words over each other, cut, or more than their box holds.", ""]
    lines += ["| study | figures | faults | the first ones |", "|---|---|---|---|"]
    with tempfile.TemporaryDirectory() as folder:
        for name, result in results.items():
            count, found = faults(result, Path(folder))
            first = "; ".join(found[:3]).replace("|", "/").replace("\n", " ")
            lines.append(f"| {name} | {count} | {len(found)} | {first} |")
            print(lines[-1], flush=True)
    made = "python tests/benchmarks/boxes.py" + (" --ready" if "--ready" in sys.argv else "")
    out = ROOT / "results" / "boxes" / "summary.md"
    out.parent.mkdir(exist_ok=True)
    out.write_text("\n".join([*lines, "", "Made with", "", f"    {made}", ""]), encoding="utf-8")


if __name__ == "__main__":
    main()
