"""Kills merges at random instants: each leaves no picture, or a whole one.

python benchmarks/merge_kills.py [KILLS] [SEED]
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.merge.killed import kill_merges, sweep_folder


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory() as place:
        folder = sweep_folder(Path(place))
        whole, none, trouble = kill_merges(folder, Path(place), kills, seed)
    print(f"{kills} kills, seed {seed}: {none} left no picture, {whole} a whole one")
    print(
        "\n".join(trouble) or "no half file under a final name; the merge started again ends well"
    )
    sys.exit(bool(trouble))


if __name__ == "__main__":
    main()
