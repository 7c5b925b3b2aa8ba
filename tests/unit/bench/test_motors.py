"""Motors: order, direction, silence, running on, imbalance, bearings, and what cannot be judged."""

from __future__ import annotations

import numpy as np

from rotorwright.bench.motors import judge_motors
from rotorwright.bench.verdicts import Verdict
from tests.spinning_craft import SETUP, drawn_craft, recorded


def test_a_healthy_craft_passes() -> None:
    rng = np.random.default_rng(0)
    motion, pulses, rotors = recorded(drawn_craft(rng), rng)
    assert judge_motors(motion, pulses, SETUP, rotors=rotors).verdict is Verdict.PASSED
