"""`python -m layup` is the command line."""

from layup.cli import main

main(prog_name="layup")
