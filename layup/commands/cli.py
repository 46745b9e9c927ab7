"""The command line: finds the command, and turns every error into a sentence.

Exit status: 0 done, also where Ctrl-C took the best so far; 1 failed, or nothing passes; 2 something in the input is
wrong (each fault is named on standard error); 130 stopped before there was an answer.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

COMMANDS = (
    "predict", "compare", "surface", "choose", "holes", "patterns", "cut", "mix", "bag", "sheet", "stock",
    "weigh", "shop", "coupon", "two-builds", "materials", "ledger",
    "template", "bench",
)  # fmt: skip
"""In the order of the help: the main job first. Each is a module of `layup.commands`."""
FORMERLY = {"versions": "two-builds"}
"""Names of an older version that are still understood."""
NOTING = ("weigh", "shop", "coupon", "ledger")
"""Those that write into the shop's record."""


class _Commands(click.Group):
    """A group that loads a command when it is asked for, and never shows a traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        name = FORMERLY.get(cmd_name, cmd_name)
        if name not in COMMANDS:
            return None
        command: click.Command = import_module(f"layup.commands.{name.replace('-', '_')}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, but a mistyped command gets the nearest one."""
        if args and args[0] not in (*COMMANDS, *FORMERLY) and not args[0].startswith("-"):
            from layup.errors import nearest

            known = nearest(args[0], COMMANDS) or "Commands: " + ", ".join(COMMANDS) + "."
            ctx.fail(f'There is no command "{args[0]}". {known}')
        return super().resolve_command(ctx, args)

    def main(  # type: ignore[override]  # click's own has an overload for each way of ending
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        *,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> object:
        """As click does it, but Ctrl-C outside of a command ends like one inside; click would say "Aborted!"."""
        if not standalone_mode:
            return super().main(args, prog_name, standalone_mode=False, **extra)
        from layup.files.systems import SAID, STOPPED

        try:
            status = super().main(args, prog_name, standalone_mode=False, **extra)
        except click.ClickException as error:
            error.show()
            status = error.exit_code
        except click.Abort:
            click.echo(SAID, err=True)
            status = STOPPED
        sys.exit(status if isinstance(status, int) else 0)

    def invoke(self, ctx: click.Context) -> object:
        import gc

        from layup.errors import LayupError
        from layup.files.systems import SAID, STOPPED, asked_to_stop

        os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # looking for some takes longer than a small part
        gc.set_threshold(50_000, 20, 20)  # a command is over before the default's many small collections pay

        try:
            return super().invoke(ctx)
        except LayupError as error:
            click.echo(str(error), err=True)
            ctx.exit(2)
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)
        except (click.ClickException, click.exceptions.Exit):
            raise
        except (click.Abort, KeyboardInterrupt):
            click.echo(SAID, err=True)
            if ctx.invoked_subcommand in NOTING:
                click.echo("Whether it was noted: layup shop history, or layup ledger history REFIT.", err=True)
            ctx.exit(STOPPED)
        except MemoryError:
            click.echo("This needs more memory than the machine has. Use a coarser mesh.", err=True)
            ctx.exit(1)
        except Exception as error:  # the last net: whatever slips through is our fault and must read as a sentence
            if os.environ.get("LAYUP_TRACE"):
                raise
            if asked_to_stop():  # a library made another error of it
                click.echo(SAID, err=True)
                ctx.exit(STOPPED)
            if isinstance(error, OSError) and error.filename is not None and error.strerror:
                name = str(error.filename)
                click.echo(
                    f'"{name if len(name) < 200 else name[:80] + "..."}": {error.strerror}. Check the name', err=True
                )
                ctx.exit(2)
            if isinstance(error, ValueError) and "null" in str(error):  # how Python says it of a file's name
                click.echo("A file's name can't hold a character of value 0. Check the name.", err=True)
                ctx.exit(2)
            click.echo(f"{_culprit()}layup made a mistake of its own ({type(error).__name__}: {error}).", err=True)
            click.echo("Please report it with the part file; LAYUP_TRACE=1 shows where it happened.", err=True)
            ctx.exit(1)


def _culprit() -> str:
    """Which line of which part file is behind a mistake, as far as that can be told; empty where it can't.

    The tables of the file are left out one by one: where the mistake goes with one of them, that is the one to look at.
    """
    from layup.partfile.blame import culprit

    for word in sys.argv[1:]:
        if word.endswith(".toml"):
            found = culprit(word)
            if found:
                return found
    return ""


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="layup", message="layup %(version)s")
def main() -> None:
    """Predict what a hand-made composite part will weigh before it is laid up, and what it saves.

    Start with `layup predict PART`, where PART is a part file: a short text file in the words of the trade. The page
    docs/first-hour.md writes one from nothing.
    """


if __name__ == "__main__":
    main()
