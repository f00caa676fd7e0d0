"""Where a folder of results comes from: the study as it was run, and with what it was made."""

import json
import platform
import subprocess
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import tomli_w

from tautwire import __version__
from tautwire.model.errors import InputError
from tautwire.studies.running.runner import identity, libraries
from tautwire.studies.running.store import digest
from tautwire.studies.study.files import put_text
from tautwire.studies.study.study import Study

STUDY, RECORD = "study.toml", "provenance.json"


def record(study: Study, folder: Path, written: list[Path], command: str) -> list[Path]:
    """Write the study and the record of its making, and remove what an earlier run wrote here and this one did not.

    Commands beside `run` keep theirs under names of their own, as they may add to a folder: turns-study.toml.
    """
    kind = command.split()[1] if command.startswith("tautwire ") else "run"
    study_file, record_file = (name if kind == "run" else f"{kind}-{name}" for name in (STUDY, RECORD))
    before = _read(folder, record_file)
    text = tomli_w.dumps(_plain(study.tables))
    names = sorted({path.name for path in written if path.parent == folder})
    for name in set(before.get("files", [])) - {*names, study_file, record_file}:
        if name == Path(name).name:
            (folder / name).unlink(missing_ok=True)
    facts = {
        "study": study.name,
        "file": study.file,
        "command": command,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "versions": {"tautwire": __version__, "python": platform.python_version(), **libraries()},
        "code": identity(study),
        "commit": _commit(),
        "platform": f"{platform.system()} {platform.machine()}, {sys.implementation.name}",
        "digest": digest("study", text).partition("-")[2],
        "files": names,
    }
    put_text(folder / study_file, text)
    put_text(folder / record_file, json.dumps(facts, indent=1) + "\n")
    return [folder / study_file, folder / record_file]


def check_folder(folder: Path, file: str, study: Study) -> None:
    """Raises InputError if the folder holds results of another study file."""
    other = _read(folder).get("file")
    if isinstance(other, str) and other and other != file and folder.name == study.name:
        allowed = f"another name: {folder} holds what {other} gave under this one; or --out with another folder"
        raise InputError("study.name", repr(study.name), allowed)


def _read(folder: Path, name: str = RECORD) -> dict[str, Any]:
    try:
        found = json.loads((folder / name).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _plain(value: Any) -> Any:
    """What TOML can hold: no None."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items() if v is not None}
    return [_plain(v) for v in value] if isinstance(value, list | tuple) else value


def _commit() -> str | None:
    """The commit of the code, if it runs from a checkout."""
    here = Path(__file__).resolve().parent
    try:
        done = subprocess.run(["git", "-C", str(here), "rev-parse", "HEAD"], capture_output=True, text=True, timeout=5)
    except (OSError, subprocess.SubprocessError):
        return None
    return done.stdout.strip() or None
