"""What a result says, in words, how far to trust it, and where it comes from."""

import platform
import subprocess
import sys
from collections.abc import Collection, Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import tomli_w

from tautwire import __version__
from tautwire.studies.running.runner import identity, libraries
from tautwire.studies.running.store import digest
from tautwire.studies.study.assumed import doubts, setup_words
from tautwire.studies.study.files import Source
from tautwire.studies.study.findings import Finding, Role, Words, capitalised, of_role
from tautwire.studies.study.result import Result
from tautwire.studies.study.study import Study
from tautwire.studies.wants.give_or_take import sureness
from tautwire.studies.wants.want import want_named

# --- What a result says, in words: the findings of its wants in reading order, and how far to trust it.


SAFETY = ("exposure", "stress")  # wants whose answers come first
ORDER: tuple[Role, ...] = ("verdict", "answer", "sure", "next", "caution", "detail")
MOST_NAMED = 4  # cases named in a line about several


def written(result: Result, findings: Iterable[Finding]) -> list[str]:
    """Findings as lines, with lengths as the study's are typed."""
    return [capitalised(f.words.text(result.study.lengths)) for f in findings]


def findings(result: Result) -> list[Finding]:
    """Everything found, by role: the verdicts first; in each role the main want's first, then what is about safety."""
    main = main_want(result)
    names = sorted(result.study.spec.want, key=lambda name: (name != main, name not in SAFETY))
    found = [f for name in names for f in want_named(name).findings(result)]
    if "spread" not in result.study.spec.want:
        found += sureness(result)
    return [f for role in ORDER for f in of_role(found, role)]


def parts(result: Result) -> tuple[list[str], list[str], list[str]]:
    """The verdicts; how sure they are, what to do next, cautions; the details."""
    found = findings(result)
    roles: tuple[tuple[Role, ...], ...] = (("verdict",), ("answer", "sure", "next", "caution"), ("detail",))
    first, rest, details = (written(result, of_role(found, *some)) for some in roles)
    return first, rest, details


def told(result: Result, tables: Iterable[str] = (), assumed: Collection[str] = (), everything: bool = False) -> str:
    """What a terminal shows: the verdicts, the tables, how sure it is, what to do next, cautions; the set-up last.

    everything: also the details.
    """
    first, rest, details = parts(result)
    lines = [*first, *tables, *rest, *(details if everything else []), *trust(result, assumed)]
    return "\n".join(lines if everything or not details else [*lines, "More: the same command with --all."])


def sentences(result: Result) -> list[str]:
    """The whole answer in words, the verdict first."""
    return written(result, findings(result))


def main_want(result: Result) -> str:
    """The want that answers the study's question: the first but for dips, which most others come with."""
    wants = [w for w in result.study.spec.want if w not in ("dips", "spread")]
    return wants[0] if wants else result.study.spec.want[0]


def verdicts(result: Result) -> dict[str, Words]:
    """Want -> its verdict, the main want first; without those that have none."""
    first = main_want(result)
    names = sorted(result.study.spec.want, key=lambda name: name != first)
    found = {name: next(of_role(want_named(name).findings(result), "verdict"), None) for name in names}
    return {name: finding.words for name, finding in found.items() if finding}


def big_numbers(result: Result, most: int = 3) -> list[Finding]:
    """Numbers to be read from afar: the main want's first; of several cases, how far the dips move is one."""
    main = main_want(result)
    wants = sorted(result.study.spec.want, key=lambda name: (name != main, name == "dips"))
    found = {name: list(of_role(want_named(name).findings(result), "big")) for name in wants}
    dips = found.pop("dips", [])
    others = [number for numbers in found.values() for number in numbers]
    kept = most - (len(dips) > 0 and result.study.count > 1)
    return [*others[:kept], *dips, *others[kept:]][:most]


def one_caution(result: Result) -> str:
    """What the answer must not be shown without: what failed or is outside validity, else what its wants warn of."""
    if result.failed:
        return f"{len(result.failed)} of {result.study.count} cases could not be solved."
    if marked := result.marked():
        return f"{len(marked)} answers lie outside the model's validity: {marked[0]['marks']}."
    every = findings(result)
    found = written(result, [*of_role(every, "caution"), *of_role(every, "sure")])
    return found[0] if found else "This is a calculation, not a measurement: read the SWR at low power first."


def trust(result: Result, assumed: Collection[str] = ()) -> list[str]:
    """What the answer rests on: the set-up with what was assumed (see setup_words), and failed and marked cases."""
    return [setup_words(result.study, assumed), *doubts(result.study), *validity(result)]


def validity(result: Result) -> list[str]:
    """Failed and marked cases, in words; one line says so if there are none and no dip is missing."""
    lines = []
    for failure in result.failed:
        lines.append(f"FAILED: {result.study.words_of(failure.labels) or 'the set-up'}: {failure.reason}")
    lines += _by_words(result, "marks", "Outside validity")
    missing = any(row["dip_mhz"] != row["dip_mhz"] for row in result.rows("dips"))
    fine = [] if missing else ["All cases are inside the model's validity."]
    return [*(lines or fine), *_by_words(result, "inexact", "Less exact"), *filter(None, [blended(result)])]


def _by_words(result: Result, column: str, verdict: str) -> list[str]:
    """A line for each text of that column of the table "quality", with the answers it is of."""
    told = [r for r in result.rows("quality") if r.get(column)]
    lines = []
    for words in sorted({r[column] for r in told}):
        rows = [r for r in told if r[column] == words]
        named = [", ".join(filter(None, [result.study.words_of(r), r["band"]])) for r in rows]
        more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
        lines.append(f"{verdict}: {words} ({'; '.join(named[:MOST_NAMED])}{more}).")
    return lines


def blended(result: Result) -> str:
    """How many cases were blended between solved ones, and the greatest error estimated; "" if all were solved."""
    errors = [row.get("blend_error", 0.0) for row in result.rows("quality")]
    if not (count := sum(e > 0 for e in errors)):
        return ""
    share = f"{count} of {len(errors)} answers are blended between solved cases"
    return f"{share}; estimated error of the reflection up to {max(errors):.1g} (column blend_error of quality.csv)."


# --- Where results come from: the study as it was run, and with what it was made.


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
