"""Prints pip constraints: the lowest version of each dependency, test extra included, that pyproject.toml allows."""

import tomllib
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = tomllib.loads((Path(__file__).parent.parent / "pyproject.toml").read_text(encoding="utf-8"))["project"]

for text in [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]:
    wanted = Requirement(text)
    if wanted.marker is None or wanted.marker.evaluate():
        lowest = next(s.version for s in wanted.specifier if s.operator in (">=", "=="))
        print(f"{wanted.name}=={lowest}")
