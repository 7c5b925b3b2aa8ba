"""Run the owner's name checker, which lies beside the clone and not in it, or say in words that it did not run.

Exit codes: 0 no reserved name, 1 reserved names found, 3 the checker is not here (nothing was checked).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HOUSE = Path(__file__).resolve().parent.parent
CHECKER = HOUSE.parent / "shared" / "tools" / "check-names"
NOT_RUN = 3


def main() -> int:
    """Run the checker over the files that git tracks and the last commit messages."""
    if not CHECKER.is_file():
        print("the name check was not run: the owner's checker (../shared/tools/check-names) is not beside this clone")
        return NOT_RUN
    finished = subprocess.run([sys.executable, str(CHECKER), str(HOUSE)], check=False)
    return min(finished.returncode, 1)


if __name__ == "__main__":
    sys.exit(main())
