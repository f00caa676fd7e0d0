"""Writes results/README.md: each ready-made study with its question, its answer, one picture and its command.

    python tests/benchmarks/gallery.py

Run it after the results were made again; tests/test_gallery.py checks that no study is missing.
"""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
RESULTS, READY = ROOT / "results", ROOT / "studies" / "ready"
BEST = (
    "picture",
    "target",
    "shield",
    "stress",
    "pattern_elevation",
    "turn_map",
    "why",
    "fit",
    "dip",
    "swr",
)  # the first there is, is shown
TEMPLATE = "template"  # a start for own studies; it has no results


def studies() -> list[str]:
    """Names of the ready-made studies that have results to show."""
    return [p.stem for p in sorted(READY.glob("*.toml")) if p.stem != TEMPLATE]


def entry(name: str) -> str:
    """A study's part of the page, from its committed summary."""
    folder = RESULTS / name
    text = (folder / "summary.md").read_text(encoding="utf-8")
    question = text.splitlines()[0].removeprefix("# ")
    answer = next(p for p in text.split("\n\n")[1:] if p.strip())
    command = re.search(r"## Made with\s+(tautwire .*)", text)
    assert command, f"{folder}: summary.md names no command"
    picture = next((stem for stem in BEST if (folder / f"{stem}.png").exists()), None)
    shown = [f"![{answer.rstrip('.')}]({name}/{picture}.png)"] if picture else []
    return "\n\n".join([f"## {question}", answer, *shown, f"    {command[1]}", f"[All of it]({name}/summary.md)"])


def page() -> str:
    head = "# What the ready-made studies found\n\nEach with its question, answer, picture and command."
    return "\n\n".join([head, *map(entry, studies()), "Made with `python tests/benchmarks/gallery.py`."]) + "\n"


if __name__ == "__main__":
    (RESULTS / "README.md").write_text(page(), encoding="utf-8")
    print(f"{len(studies())} studies in {RESULTS / 'README.md'}")
