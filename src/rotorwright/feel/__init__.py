"""What the pilot feels: stick curves, filters, loop gains, and their refit to a new release. Pure: no file, no clock.

The modules `stick_curves` and `stick_refit` import numpy (and scipy when they search): import them where they are used.
"""
