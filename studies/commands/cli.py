"""The command line: `tautwire COMMAND`. Commands live in files of their names and are loaded when asked for."""

import atexit
import errno
import gc
import importlib
import os
import signal
import sys
from pathlib import Path
from types import FrameType

import click

from tautwire.model.errors import InputError, SolveError, did_you_mean

COMMANDS = {
    "predict": "what one set-up will do on each band, without a file",
    "new": "write a commented study file to start from",
    "run": "compute a study file: tables, plots, summary",
    "turns": "how many turns off the reel for each segment, and a card to print",
    "choose": "how long, how high, what to carry: the set-ups that serve best",
    "fit": "fit the set-up's uncertain values to measured sweeps",
    "why": "why the dip moved, and what to do about it",
    "log": "keep what was hung, measured and decided at a place, and see its history",
    "slides": "a study as a slide deck (.pptx)",
    "undo": "bring back what the last command replaced in a folder",
    "report": "a study as one offline page: answer, plots, sortable tables",
    "explore": "a page with sliders that moves every band's SWR curve, on a phone too",
    "pocket": "the page for the park, on a phone: type a dip, get turns, causes and a log",
    "deck": "one case as a NEC-2 card deck, for any engine that reads them",
    "verify": "whether a folder of results stands: a sample solved again, files and versions",
    "check": "whether a study file is sound, without computing",
    "list": "soils, coax, cores, bands, layouts, wants, columns, with their sources",
    "explain": "what a key or a column means: tautwire explain antenna.slope",
    "manual": "the whole manual as one offline page",
    "schema": "JSON Schema of study files, so that editors complete and check them",
    "cache": "show or prune what has been computed",
}
EXIT_INPUT, EXIT_SOLVE, EXIT_STOPPED, EXIT_TERMINATED = 2, 1, 130, 143


class Lazy(click.Group):
    """A group whose commands are imported only when used, so that `tautwire` itself answers at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command = importlib.import_module(f".{name}", __package__).COMMAND
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS:
            allowed = f"one of {', '.join(COMMANDS)}{did_you_mean(args[0], COMMANDS)}"
            raise InputError("command", repr(args[0]), allowed)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; its faults name its options as they are typed: "--out", not "out"."""
        try:
            return super().invoke(ctx)
        except InputError as error:
            command = self.get_command(ctx, ctx.invoked_subcommand or "")
            options = {p.opts[0].lstrip("-"): p.opts[0] for p in command.params} if command else {}
            raise InputError(options.get(error.field, error.field), error.value, error.allowed) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=Lazy, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="tautwire", message="tautwire %(version)s")
@click.pass_context
def tautwire(ctx: click.Context) -> None:
    """Study portable end-fed half-wave wires over real soil: where the dip sits, why it moved, how many turns.

    Start with:  tautwire predict --length "19.8 m" --slope "30 deg"
    """
    ctx.meta["tautwire.learned"] = _learned
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def _learned(place: str) -> Path | None:
    """See place.py, which is loaded when it is asked for."""
    from tautwire.studies.learned.place import learned_file

    return learned_file(place)


class Terminated(KeyboardInterrupt):
    """SIGTERM, as batch systems send it before they kill: what is done is kept, as with Ctrl-C."""


def _heed_sigterm() -> None:
    """From here on SIGTERM ends this process, and none forked from it, as Ctrl-C does."""
    ours = os.getpid()

    def stop(number: int, frame: FrameType | None) -> None:
        if os.getpid() != ours:
            os._exit(EXIT_TERMINATED)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        raise Terminated

    if signal.getsignal(signal.SIGTERM) is signal.SIG_DFL:
        signal.signal(signal.SIGTERM, stop)


def _quiet_about_memory(fault: "sys.UnraisableHookArgs") -> None:
    """What libraries print where a callback finds no memory is left to the one line that ends the command."""
    if not isinstance(fault.exc_value, MemoryError):
        sys.__unraisablehook__(fault)


KEPT = "finished cases are kept, so the same command goes on from here"
NO_MEMORY = f"error: not enough memory; {KEPT}"


def main(args: list[str] | None = None) -> None:
    """Entry point. Exit status: 0 done, 1 a case could not be solved, 2 bad input, 130 stopped, 143 by SIGTERM."""
    if args is None:  # a process of our own
        gc.set_threshold(50_000)  # rows and figures are many small objects: to look through them is 4 % of the time
        _heed_sigterm()
        sys.unraisablehook = _quiet_about_memory
        atexit.register(gc.freeze)  # at the end nobody need look through them again: 0.1 to 0.4 s
    try:
        status = tautwire.main(args=args, prog_name="tautwire", standalone_mode=False)
    except (InputError, click.UsageError) as error:
        message = error.format_message() if isinstance(error, click.UsageError) else str(error)
        if "unexpected extra argument" in message:
            message += ': quotes around a value with its unit, such as --length "65 ft"'
        _leave("error: " + " ".join(message.split()), EXIT_INPUT)
    except SolveError as error:
        _leave(f"error: {error}", EXIT_SOLVE)
    except (KeyboardInterrupt, click.Abort) as stopped:
        if isinstance(stopped, Terminated) or isinstance(stopped.__cause__, Terminated):
            _leave(f"stopped by SIGTERM; {KEPT}", EXIT_TERMINATED)
        _leave(f"stopped; {KEPT}", EXIT_STOPPED)
    except BrokenPipeError:
        unheard()
        sys.exit(EXIT_SOLVE)
    except OSError as error:
        if error.errno == errno.ENOMEM:
            _leave(NO_MEMORY, EXIT_SOLVE)
        if error.errno not in (errno.ENOSPC, errno.EIO, errno.EDQUOT):
            raise
        unheard()
        _leave(f"error: it could not be written: {error.strerror}", EXIT_SOLVE)
    except MemoryError:
        _leave(NO_MEMORY, EXIT_SOLVE)
    if isinstance(status, int) and status:  # click hands an Exit back as a number
        sys.exit(status)


def unheard() -> None:
    """From here on nobody reads standard output: what is still printed goes nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _leave(message: str, status: int) -> None:
    click.echo(message, err=True)
    sys.exit(status)
