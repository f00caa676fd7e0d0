"""Where the packages are: `tautwire` is made of the folders model/ and studies/, its own first page is studies/face/.

An editable install goes through a folder of links, so that type checkers and editors find `tautwire.model` as Python
does. Where links cannot be made, setuptools' own import hook takes over, which only Python itself understands.
"""

import os
import shutil
import sys
from pathlib import Path

from setuptools import find_packages, setup

HERE = Path(__file__).parent
FOLDERS = {"tautwire": "studies/face", "tautwire.model": "model", "tautwire.studies": "studies"}
LINKS = HERE / ".editable"


def packages() -> list[str]:
    """All packages, by their import names."""
    inside = (f"{name}.{room}" for name in list(FOLDERS)[1:] for room in find_packages(FOLDERS[name]) if room != "face")
    return [*FOLDERS, *inside]


def linked() -> dict[str, str]:
    """Where an editable install finds the packages."""
    shutil.rmtree(LINKS, ignore_errors=True)
    top = LINKS / "tautwire"
    top.mkdir(parents=True)
    face = [(f, top / f.name) for f in (HERE / "studies/face").iterdir() if f.is_file()]
    rooms = [(HERE / folder, top / folder) for folder in ("model", "studies")]
    try:
        for target, link in [*face, *rooms]:
            link.symlink_to(os.path.relpath(target, top), target_is_directory=target.is_dir())
    except OSError:
        return FOLDERS
    return {"": LINKS.name}


setup(packages=packages(), package_dir=linked() if "editable_wheel" in sys.argv else FOLDERS)
