"""How commands end on spoiled inputs: ``python -m tests.benchmarks.mutations [--count 20000] [--seed 1]``.

Results, rig files, lists of targets, command lines, pixels, nights, questions about the sky, pictures and a solver's
answers are spoiled one after the other and given to the commands, in this process. Printed are the exit codes by
kind, the longest run, and every fault with its number.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from tests.mutations import fault_of, kinds
from tests.spoiled_folders import folder_kinds


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", default="")
    asked = parser.parse_args()
    ends: Counter[tuple[str, int]] = Counter()
    faults, longest, started = 0, 0.0, time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        made = kinds(Path(folder)) | folder_kinds(Path(folder))
        makers = [maker for kind, maker in made.items() if asked.kind in kind]
        for number in range(asked.count):
            spoiled = makers[number % len(makers)](np.random.default_rng([asked.seed, number]), number)
            code, seconds, said = fault_of(spoiled)
            ends[spoiled.kind, code] += 1
            longest = max(longest, seconds)
            if said is not None:
                faults += 1
                shown = " ".join(repr(word[:60]) for word in spoiled.arguments)
                print(
                    f"fault {faults}, input {number} ({spoiled.kind}): {shown}\n  {said.strip()}", flush=True
                )
    for (kind, code), count in sorted(ends.items()):
        print(f"{kind:>14}  exit code {code}: {count}")
    print(
        f"{asked.count} inputs, {faults} faults, longest {longest:.1f} s, {time.perf_counter() - started:.0f} s in all"
    )


if __name__ == "__main__":
    main()
