"""Where results come from: the study as it was run, and with what it was made."""

import platform
import subprocess
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import tomli_w

from tautwire import __version__
from tautwire.studies.running.runner import identity, libraries
from tautwire.studies.running.store import digest
from tautwire.studies.study.output import Source
from tautwire.studies.study.study import Study


def source(study: Study, question: str) -> Source:
    """What a folder answers with this study."""
    return Source(study.name, study.file, question)


def study_text(study: Study) -> str:
    """The study as it was run, TOML."""
    return tomli_w.dumps(_plain(study.tables))


def making(study: Study, command: str) -> dict[str, Any]:
    """Versions, platform, time and digests, for a folder's manifest."""
    return {
        "command": command,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "versions": {"tautwire": __version__, "python": platform.python_version(), **libraries()},
        "code": identity(study),
        "commit": _commit(),
        "platform": f"{platform.system()} {platform.machine()}, {sys.implementation.name}",
        "digest": digest("study", study_text(study)).partition("-")[2],
    }


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
