"""`python -m tristrand` is the command line."""

from tristrand.cli import run

run()
