"""What a result says, in words: the answer of each want, and how far to trust it."""

from collections.abc import Collection, Iterable

from tautwire.studies.study import units
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.result import Result
from tautwire.studies.wants.give_or_take import causes, footnote, give_line
from tautwire.studies.wants.registry import want_named

SAFETY = ("exposure", "stress")  # wants whose answers come first
MOST_NAMED = 4  # cases named in a line about several


def as_typed(result: Result, lines: Iterable[str]) -> list[str]:
    """Lines of words with lengths in feet and inches if the study's are typed so."""
    return [units.as_typed(line, result.study.lengths) for line in lines]


def sentences(result: Result) -> list[str]:
    """The answer in words, with its numbers; what is about safety comes first, then what the study is about."""
    lines: list[str] = []
    main = main_want(result)
    for name in sorted(result.study.spec.want, key=lambda name: (name not in SAFETY, name != main)):
        lines += want_named(name).sentences(result)
    if "spread" not in result.study.spec.want:
        lines += sureness(result)
    return as_typed(result, lines)


def sureness(result: Result) -> list[str]:
    """The give or take of the dips, what it comes from, and what it holds; nothing where there is none."""
    return as_typed(result, filter(None, [give_line(result), causes(result), footnote(result)]))


def main_want(result: Result) -> str:
    """The want that answers the study's question: the first but for dips, which most others come with."""
    wants = [w for w in result.study.spec.want if w not in ("dips", "spread")]
    return wants[0] if wants else result.study.spec.want[0]


def headlines(result: Result) -> dict[str, str]:
    """Want -> its answer in one line, the main want first; without those that have no answer."""
    first = main_want(result)
    names = sorted(result.study.spec.want, key=lambda name: name != first)
    told = {name: units.as_typed(want_named(name).headline(result), result.study.lengths) for name in names}
    return {name: words for name, words in told.items() if words}


def trust(result: Result, assumed: Collection[str] = ()) -> list[str]:
    """What the answer rests on: the set-up with what was assumed (see setup_words), and failed and marked cases."""
    return [setup_words(result.study, assumed), *validity(result)]


def validity(result: Result) -> list[str]:
    """Failed and marked cases, in words; one line says so if there are none."""
    lines = []
    for failure in result.failed:
        lines.append(f"FAILED: {result.study.words_of(failure.labels) or 'the set-up'}: {failure.reason}")
    marked = result.marked()
    for words in sorted({r["marks"] for r in marked}):
        rows = [r for r in marked if r["marks"] == words]
        named = [", ".join(filter(None, [result.study.words_of(r), r["band"]])) for r in rows]
        which = "; ".join(named[:MOST_NAMED]) + (
            f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
        )
        lines.append(f"Outside validity: {words} ({which}).")
    return [*(lines or ["All cases are inside the model's validity."]), *filter(None, [blended(result)])]


def blended(result: Result) -> str:
    """How many cases were blended between solved ones, and the greatest error estimated; "" if all were solved."""
    errors = [row.get("blend_error", 0.0) for row in result.rows("quality")]
    if not (count := sum(e > 0 for e in errors)):
        return ""
    share = f"{count} of {len(errors)} answers are blended between solved cases"
    return f"{share}; estimated error of the reflection up to {max(errors):.1g} (column blend_error of quality.csv)."
