#!/usr/bin/env python3
"""A sweep of 100 settings over a trace of 1.8 million rows against 100 replays of it, in turns in one run.

    cargo build --release --bin cowitness && python3 tests/benches/sweep.py

Makes the trace under target/sweep from the demo of a clean run (invented data), at 100 kHz, and times whole processes. Prints every round
and the median ratios, of wall time and of processor time: the sweep by a hundred times one replay. On two cores a replay keeps one busy
with stepping and the other one for a part of the time with reading; half of the wall time is then what two cores can do at the best.
"""
import os
import pathlib
import resource
import statistics
import subprocess
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
FOLDER = ROOT / "target" / "sweep"
PROGRAM = ROOT / "target" / "release" / "cowitness"
ROUNDS = int(os.environ.get("ROUNDS", "5"))
SETTINGS = 100


def made():
    """The trace, and the setup that evaluates each of its rows."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    demo = (ROOT / "traces-demo" / "clean-run.toml").read_text()
    fast = demo.replace('rate     = "1 kHz"', 'rate     = "100 kHz"').replace("time_decimals = 3", "time_decimals = 6")
    assert fast.count("100 kHz") == 1 and "time_decimals = 6" in fast, "the demo is written in another way now"
    (FOLDER / "run.toml").write_text(fast)
    subprocess.run([PROGRAM, "synth", FOLDER / "run.toml", "--out", FOLDER / "run.csv", "--quiet"], check=True)
    setup = (ROOT / "traces-demo" / "shuttle.toml").read_text().splitlines(keepends=True)
    (FOLDER / "axis.toml").write_text("".join(line for line in setup if not line.startswith("cycle ")))


def timed(*args):
    """Wall and processor time of one run."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    done = subprocess.run([PROGRAM, *args, FOLDER / "run.csv", "--setup", FOLDER / "axis.toml", "--quiet"])
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert done.returncode == 0, args
    return wall, after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


made()
ratios = []
for turn in range(ROUNDS):
    alone = timed("replay")
    swept = timed("sweep", "--vary", f"discrepancy.tolerance=0.1 mm..{SETTINGS / 10} mm step 0.1 mm")
    ratios.append([all / (SETTINGS * one) for all, one in zip(swept, alone)])
    print(f"{turn + 1}: replay {alone[0]:.2f} s, sweep {swept[0]:.2f} s; by {SETTINGS} replays {ratios[-1][0]:.2f} of the wall time, "
          f"{ratios[-1][1]:.2f} of the processor time")
wall, processor = (statistics.median(column) for column in zip(*ratios))
print(f"median: {wall:.2f} of the wall time, {processor:.2f} of the processor time; {os.cpu_count()} cores")
