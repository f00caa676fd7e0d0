"""What is learned of the next outing at a place, as a file that a command can start --from: see wants/fit/fitted.py."""

import hashlib
from pathlib import Path

import tomli_w

FOLDER = "learned"  # beside what is stored: a cache, as the logbook is the truth


def learned_file(place: str) -> Path | None:
    """A file with the place's last set-up, its values as all outings say, and its [spread]; None if nothing was read.

    Raises InputError for a place or an entry that cannot be read, SolveError for one that cannot be solved.
    """
    from tautwire.studies.learned.carried import carried
    from tautwire.studies.learned.place import next_outing
    from tautwire.studies.learned.posterior import learned
    from tautwire.studies.learned.replay import all_entries, log_of
    from tautwire.studies.logbook.logbook import LOG, entries
    from tautwire.studies.running.store import Store, default_folder
    from tautwire.studies.study.files import make_folder, put_new

    log = log_of(all_entries(), [], Store())
    if not any(outing.dips or outing.sweeps for outing in log.outings):
        return None
    last = entries(place)[-1]
    raw = carried(learned(log), next_outing(place, last.tables), last.setup)
    head = f"# Learned from {len(log.outings)} outings of the logbook; written anew whenever it is asked for.\n\n"
    text = head + tomli_w.dumps({**raw, LOG: {"place": place, "date": last.log.date}})
    path = default_folder() / FOLDER / f"{hashlib.sha256(text.encode()).hexdigest()[:16]}.toml"
    if not path.exists():
        make_folder(path.parent)
        put_new(path, text.encode())
    return path
