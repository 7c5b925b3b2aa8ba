"""Rotorwright takes a multirotor from one firmware release to the next and proves it came back the same aircraft."""

__version__ = "0.1.0"
