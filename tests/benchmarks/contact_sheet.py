"""Pictures and slide decks side by side, to be looked at: as wide as on a page or a phone, in grey, colour-blind.

    python tests/benchmarks/contact_sheet.py results/tonight --width 480 --sight grey --out /tmp/sheet.png

A folder stands for its PNG files; a .pptx for its slides (LibreOffice and pdftoppm must be there).
"""

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

sys.path.insert(0, str(Path(__file__).parents[1]))
from sight import SIGHT, seen_as  # noqa: E402

GAP, LABEL = 10, 18  # pixels


def pictures(paths: Sequence[Path], width: int) -> Iterator[tuple[str, Image.Image]]:
    """Name and picture of everything there."""
    for path in paths:
        if path.suffix == ".pptx":
            yield from slides(path, width)
        else:
            for file in sorted(path.rglob("*.png")) if path.is_dir() else [path]:
                yield f"{file.parent.name}/{file.stem}", Image.open(file).convert("RGB")


def slides(deck: Path, width: int) -> Iterator[tuple[str, Image.Image]]:
    with tempfile.TemporaryDirectory() as folder:
        own = f"-env:UserInstallation=file://{folder}/office"
        subprocess.run(
            ["soffice", own, "--headless", "--convert-to", "pdf", "--outdir", folder, str(deck)],
            check=True,
            capture_output=True,
        )
        page = ["pdftoppm", "-scale-to-x", str(width), "-scale-to-y", "-1", "-png"]
        subprocess.run([*page, f"{folder}/{deck.stem}.pdf", f"{folder}/page"], check=True)
        for k, file in enumerate(sorted(Path(folder).glob("page*.png")), 1):
            yield f"{deck.parent.name}, slide {k}", Image.open(file).convert("RGB")


def sheet(found: Sequence[tuple[str, Image.Image]], width: int, across: int, sight: str) -> Image.Image:
    """Rows of pictures, each that wide, named."""
    small = [(n, p.resize((width, round(p.height * width / p.width)), Image.Resampling.LANCZOS)) for n, p in found]
    rows = [small[i : i + across] for i in range(0, len(small), across)]
    highs = [max(p.height for _, p in row) + LABEL + GAP for row in rows]
    out = Image.new("RGB", (across * (width + GAP) + GAP, sum(highs) + GAP), "#c8cdcb")
    pen, y = ImageDraw.Draw(out), GAP
    for row, high in zip(rows, highs, strict=True):
        for k, (name, picture) in enumerate(row):
            x = GAP + k * (width + GAP)
            pen.text((x, y), name, fill="black")
            out.paste(Image.fromarray(seen_as(np.asarray(picture), sight)), (x, y + LABEL))
        y += high
    return out


def main() -> None:
    ask = argparse.ArgumentParser(description="Pictures and decks on one sheet.")
    ask.add_argument("paths", nargs="+", type=Path, help="PNG files, folders of them, .pptx decks")
    ask.add_argument("--width", type=int, default=480, help="pixels of each [480]")
    ask.add_argument("--across", type=int, default=3, help="pictures side by side [3]")
    ask.add_argument("--sight", choices=SIGHT, default="normal")
    ask.add_argument("--out", type=Path, default=Path("contact-sheet.png"))
    told = ask.parse_args()
    found = list(pictures(told.paths, told.width))
    sheet(found, told.width, told.across, told.sight).save(told.out)
    print(f"{len(found)} pictures in {told.out}")


if __name__ == "__main__":
    main()
