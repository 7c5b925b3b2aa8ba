"""How long a console is waited for, and how often it is asked: all waits and tries in one table."""

from __future__ import annotations

from rotorwright.links.limits import Limit

ENTER_STEP = Limit("wait for the prompt before the console is greeted again", 1.0, "s", "own choice")
GREETED = Limit("silence after a greeting was answered, so that late answers pass", 0.1, "s", "own choice")
HEARTBEAT = Limit("wait for the prompt in all", 5.0, "s", "own choice: as for a heartbeat")
PATIENCE = Limit("silence after which an answer is taken for cut off, where a prompt is known", 3.0, "s", "own choice")
SETTLE = Limit("silence after the prompt that ends a listing", 0.03, "s", "own choice: 300 bytes at 115,200 baud")
PARTING = Limit("shortest silence that ends what a console says before it restarts", 0.5, "s", "own choice")
RETURNS = Limit("wait for a console that restarts by itself after a save or a reset", 12.0, "s", "common practice")
LONGEST_ANSWER = Limit("longest answer", 120.0, "s", "own choice: 50,000 lines at 115,200 baud")
LARGEST_ANSWER = Limit("largest answer", 8_388_608, "bytes", "own choice: eight times 50,000 short lines")
TRIES = Limit("tries of one question", 5, "", "own choice")
REFUSALS = Limit("refusals that count: one may answer a damaged line", 2, "", "own choice")
WRITES = Limit("tries to write one setting", 4, "", "own choice")
READINGS = Limit("most readings of a listing until two agree", 6, "", "own choice")

LIMITS = (
    ENTER_STEP,
    GREETED,
    HEARTBEAT,
    PATIENCE,
    SETTLE,
    PARTING,
    RETURNS,
    LONGEST_ANSWER,
    LARGEST_ANSWER,
    TRIES,
    REFUSALS,
    WRITES,
    READINGS,
)
