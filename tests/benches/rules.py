#!/usr/bin/env python3
"""The core's seven rules against the same rules in vectorised NumPy, in turns in one run.

    python3 tests/benches/rules.py

Builds the benchmark `step`, takes its ten million frames (both sources, a door that opens and closes), and prints nanoseconds a
frame of the core, of its plain loop and of NumPy (pinned, in a virtual environment under target/peers), and the median ratios.
"""
import json
import os
import pathlib
import statistics
import subprocess
import sys
import venv

ROOT = pathlib.Path(__file__).resolve().parents[2]
FOLDER = ROOT / "target" / "peers"
NUMPY = "numpy==2.4.6"
ROUNDS = int(os.environ.get("ROUNDS", "5"))

# Runs in the virtual environment: one timed pass for every line of input, after an untimed one.
PEER = """
import sys, time
import numpy as np

W, DOOR = 8, 500
pairs = np.fromfile(sys.argv[1], dtype="<i4").reshape(-1, 2)
a, b = (np.ascontiguousarray(pairs[:, i]).astype(np.int64) for i in (0, 1))
index = np.arange(len(a))
is_open = (index // DOOR) % 2 == 1


def held(violated):
    # Frames since the last one without violation: the on-delay has passed at the fifth.
    at = np.arange(len(violated))
    since = at - np.maximum.accumulate(np.where(violated, -1, at))
    return np.count_nonzero(since == 5)


def rules():
    va = np.abs(a[W:] - a[:-W])
    vb = np.abs(b[W:] - b[:-W]) * 2
    xa, xb, opened, at = a[W:], b[W:], is_open[W:], index[W:]
    starts = np.flatnonzero(opened & ~np.concatenate(([False], opened[:-1])))
    group = np.maximum(np.searchsorted(starts, at - W, side="right") - 1, 0)
    fallen = np.maximum(at - W - starts[group] - 100, 0) * 16 // 5
    line = lambda v: np.maximum(np.minimum(v[starts], 4000)[group] + 800 - fallen, 1536)
    apart = np.abs(xa - 2 * xb)
    return sum(held(violated) for violated in (
        va > 4000,
        vb > 4000,
        opened & (va > line(va)),
        opened & (vb > line(vb)),
        opened & ((va > 4800) | (np.abs(xa - xa[starts][group]) > 200_000_000_000)),
        opened & ((vb > 4800) | (np.abs(xb - xb[starts][group]) > 100_000_000_000)),
        apart > 4000 + np.minimum(va, vb) // 8,
    ))


for _ in sys.stdin:
    rules()
    start = time.perf_counter()
    trips = rules()
    print((time.perf_counter() - start) * 1e9 / len(a), trips, flush=True)
"""


def prepare():
    FOLDER.mkdir(parents=True, exist_ok=True)
    python = FOLDER / "venv" / "bin" / "python"
    if not python.exists():
        venv.create(FOLDER / "venv", with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", NUMPY], check=True)
    build = ["cargo", "bench", "-q", "-p", "cowitness-tests", "--bench", "step", "--no-run", "--message-format", "json"]
    lines = subprocess.run(build, check=True, cwd=ROOT, capture_output=True, text=True).stdout.splitlines()
    built = [json.loads(line) for line in lines]
    return python, next(m["executable"] for m in built if m.get("executable"))


def start(command):
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def ask(process):
    process.stdin.write("\n")
    process.stdin.flush()
    return [float(word) for word in process.stdout.readline().split()]


def main():
    python, bench = prepare()
    counts = FOLDER / "counts.bin"
    ours = start([bench, "peer", counts])
    ask(ours)
    theirs = start([python, "-c", PEER, counts])
    ask(theirs)
    to_numpy, to_plain = [], []
    for number in range(ROUNDS):
        core, plain = ask(ours)
        numpy, trips = ask(theirs)
        if trips:
            sys.exit(f"NumPy finds {trips:.0f} trips where there are none")
        print(f"round {number + 1}: core {core:.2f} ns a frame, plain loop {plain:.2f}, {NUMPY} {numpy:.2f}")
        to_numpy.append(numpy / core)
        to_plain.append(core / plain)
    print(f"median: {statistics.median(to_numpy):.1f} times as fast as {NUMPY}")
    print(f"median ratio core / plain loop: {statistics.median(to_plain):.2f}")


main()
