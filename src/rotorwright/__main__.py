"""`python -m rotorwright` is the same as the `rotorwright` command."""

from rotorwright.cli.main import run

run()
