"""`python -m layup` is the command line."""

from layup.commands.cli import main

main(prog_name="layup")
