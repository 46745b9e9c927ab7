"""`python -m layup` is the command line."""

from __future__ import annotations

from layup.files.systems import run


def start() -> None:
    """The program; what it loads is loaded where Ctrl-C is already listened for."""

    def program() -> None:
        from layup.commands.cli import main

        main(prog_name="layup")

    run(program)


if __name__ == "__main__":
    start()
