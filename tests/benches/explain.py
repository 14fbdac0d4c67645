#!/usr/bin/env python3
"""Explaining the trip near the end of a 10-million-row trace against replaying that trace, in turns in one run.

    cargo build --release --bin cowitness && python3 tests/benches/explain.py

Writes the invented trace of peers.py under target/peers if it is not there, and one in which the count of the rail freezes near the end.
Times whole processes; prints every round and the median ratio of the wall times.
"""
import os
import statistics
import subprocess
import sys
import time

import peers

ROUNDS = int(os.environ.get("ROUNDS", "5"))
FROZEN_FROM = 9_500_000


def frozen(trace, path):
    """The same trace, with the second count as it was at one row from there on."""
    with open(trace, encoding="ascii") as rows, open(path, "w", encoding="ascii") as out:
        held = None
        for number, row in enumerate(rows):
            if number > FROZEN_FROM:
                cells = row.split(",")
                held = held or cells[2]
                cells[2] = held
                row = ",".join(cells)
            out.write(row)


def timed(program, command, trace):
    began = time.perf_counter()
    setup = peers.FOLDER / "axis.toml"
    done = subprocess.run([program, command, trace, "--setup", setup], stdout=subprocess.DEVNULL)
    # It trips: that is what is explained.
    assert done.returncode == 1, (command, done.returncode)
    return time.perf_counter() - began


def main():
    program = peers.ROOT / "target" / "release" / "cowitness"
    if not program.exists():
        sys.exit("build first: cargo build --release --bin cowitness")
    peers.FOLDER.mkdir(parents=True, exist_ok=True)
    (peers.FOLDER / "axis.toml").write_text(peers.SETUP)
    trace, late = peers.FOLDER / "trace.csv", peers.FOLDER / "frozen.csv"
    if not trace.exists():
        peers.write_trace(trace)
    if not late.exists():
        frozen(trace, late)
    timed(program, "replay", late)
    ratios = []
    for number in range(ROUNDS):
        replay, explain = timed(program, "replay", late), timed(program, "explain", late)
        ratios.append(explain / replay)
        print(f"{number + 1}: replay {replay:.2f} s, explain {explain:.2f} s, {ratios[-1]:.2f} times as long")
    print(f"median: explaining takes {statistics.median(ratios):.2f} times as long as replaying")


if __name__ == "__main__":
    main()
