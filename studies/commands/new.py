"""tautwire new: a commented study file to start from."""

import re
from importlib import resources
from pathlib import Path

import click

from tautwire.model.errors import InputError

PLAIN = re.compile(r"[A-Za-z0-9][\w -]{0,59}")  # a stem that can be a study's name


def ready_files() -> dict[str, str]:
    """Name -> text of the study files that come with tautwire."""
    folder = resources.files("tautwire.studies") / "ready"
    return {Path(f.name).stem: f.read_text(encoding="utf-8") for f in folder.iterdir() if f.name.endswith(".toml")}


@click.command("new")
@click.argument("file", type=click.Path(path_type=Path), default="my-study.toml")
@click.option("--like", default="template", show_default=True, help="A ready-made study to start from.")
def COMMAND(file: Path, like: str) -> None:
    """Write a commented study file to FILE."""
    ready = ready_files()
    if like not in ready:
        raise InputError("--like", repr(like), f"one of {', '.join(sorted(ready))}")
    try:
        with file.open("x", encoding="utf-8") as stream:
            stream.write(ready[like].replace("my-study", file.stem) if PLAIN.fullmatch(file.stem) else ready[like])
    except FileExistsError:
        raise InputError("file", file, "a name not taken yet") from None
    except OSError as error:
        raise InputError("file", file, f"a place that can be written ({error.strerror})") from None
    click.echo(f"{file} written; run it with:  tautwire run {file}")
