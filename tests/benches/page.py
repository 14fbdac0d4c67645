#!/usr/bin/env python3
"""A replay of a 10-million-row trace with its page against the replay alone and against explaining the trip, in turns in one run.

    cargo build --release --bin cowitness && python3 tests/benches/page.py

Uses the traces of explain.py: one in which the count of the rail freezes near the end. Times whole processes; prints every round, the
median ratios of the wall times, and how large the page is.
"""
import os
import statistics
import subprocess
import sys
import time

import explain
import peers

ROUNDS = int(os.environ.get("ROUNDS", "5"))


def timed(program, arguments):
    began = time.perf_counter()
    done = subprocess.run([program, *arguments, "--setup", peers.FOLDER / "axis.toml"], stdout=subprocess.DEVNULL)
    # It trips: that is what is explained.
    assert done.returncode == 1, (arguments, done.returncode)
    return time.perf_counter() - began


def main():
    program = peers.ROOT / "target" / "release" / "cowitness"
    if not program.exists():
        sys.exit("build first: cargo build --release --bin cowitness")
    peers.FOLDER.mkdir(parents=True, exist_ok=True)
    (peers.FOLDER / "axis.toml").write_text(peers.SETUP)
    trace, late, page = peers.FOLDER / "trace.csv", peers.FOLDER / "frozen.csv", peers.FOLDER / "page.html"
    if not trace.exists():
        peers.write_trace(trace)
    if not late.exists():
        explain.frozen(trace, late)
    timed(program, ["replay", late])
    with_page, by_explaining = [], []
    for number in range(ROUNDS):
        replay = timed(program, ["replay", late])
        explained = timed(program, ["explain", late])
        paged = timed(program, ["replay", late, "--html", page])
        with_page.append(paged / replay)
        by_explaining.append(paged / explained)
        print(f"{number + 1}: replay {replay:.2f} s, explain {explained:.2f} s, with its page {paged:.2f} s: {with_page[-1]:.2f} times the replay")
    print(f"median: with its page {statistics.median(with_page):.2f} times the replay, {statistics.median(by_explaining):.2f} times explaining")
    print(f"the page: {page.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
