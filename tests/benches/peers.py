#!/usr/bin/env python3
"""Replay of a 10-million-row CSV against general-purpose readers that only read it, in turns in one run.

    cargo build --release --bin cowitness && python3 tests/benches/peers.py

Installs the pinned readers into a virtual environment under target/peers, writes an invented trace there (314 MB, six columns), and
times whole processes. Prints every round and the median ratios: wall time of `cowitness replay` by that of each reader.
"""
import os
import pathlib
import statistics
import subprocess
import sys
import time
import venv

ROOT = pathlib.Path(__file__).resolve().parents[2]
FOLDER = ROOT / "target" / "peers"
READERS = {"polars": "polars==2.1.0", "pyarrow": "pyarrow==26.0.1"}
ROWS = 10_000_000
ROUNDS = int(os.environ.get("ROUNDS", "5"))

SETUP = """
title = "Ten million rows, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor_count"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail_count"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
skew_allowance   = "1 ms"
discrepancy_time = "20 ms"
[input.door]
columns          = ["door_1", "door_2"]
pairing          = "equivalent"
demand           = "low"
filter           = "3 ms"
discrepancy_time = "500 ms"
[[monitor]]
name     = "slow while the door is open"
kind     = "speed-limit"
demand   = ["door"]
limit    = "250 mm/s"
ramp     = { delay = "100 ms", deceleration = "2 m/s^2", margin = "50 mm/s" }
on_delay = "4 ms"
[[monitor]]
name     = "never too fast"
kind     = "speed-limit"
limit    = "1000 mm/s"
on_delay = "4 ms"
[[monitor]]
name            = "hold at the loading place"
kind            = "standstill"
demand          = ["at_loading"]
position_window = "1 mm"
speed_window    = "10 mm/s"
on_delay        = "10 ms"
"""


def write_trace(path):
    """8 kHz; the carriage swings at 100 mm/s; the door opens every 20 s for 10 s."""
    with open(path, "w", encoding="ascii") as out:
        out.write("time,motor_count,rail_count,door_1,door_2,at_loading\n")
        lines = []
        for k in range(ROWS):
            phase = k % 160_000
            count = 25 * min(phase, 160_000 - phase) - 50_000
            door = 1 if phase < 80_000 else 0
            lines.append(f"{k // 8000}.{k % 8000 * 125:06d},{count},{count // 2},{door},{door},0\n")
            if len(lines) == 100_000:
                out.write("".join(lines))
                lines.clear()
        out.write("".join(lines))


def prepare():
    FOLDER.mkdir(parents=True, exist_ok=True)
    python = FOLDER / "venv" / "bin" / "python"
    if not python.exists():
        venv.create(FOLDER / "venv", with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "-q", *READERS.values()], check=True)
    trace = FOLDER / "trace.csv"
    if not trace.exists():
        part = trace.with_suffix(".part")
        write_trace(part)
        part.rename(trace)
    (FOLDER / "axis.toml").write_text(SETUP)
    return python, trace


def timed(command, **more):
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, **more)
    return time.perf_counter() - start


# The readers time themselves: starting Python and importing them is not held against them.
READ = {
    "polars": "import polars, time; s = time.perf_counter(); polars.read_csv({path!r}); print(time.perf_counter() - s)",
    "pyarrow": "import pyarrow.csv as c, time; s = time.perf_counter(); c.read_csv({path!r}); print(time.perf_counter() - s)",
}


def read(python, name, path):
    env = os.environ | {"POLARS_MAX_THREADS": "2", "OMP_NUM_THREADS": "2"}
    code = READ[name].format(path=str(path))
    done = subprocess.run([python, "-c", code], check=True, capture_output=True, text=True, env=env)
    return float(done.stdout)


def main():
    program = ROOT / "target" / "release" / "cowitness"
    if not program.exists():
        sys.exit("build first: cargo build --release --bin cowitness")
    python, trace = prepare()
    replay = [program, "replay", trace, "--setup", FOLDER / "axis.toml", "--quiet"]
    timed(replay)
    ratios = {name: [] for name in READERS}
    fastest = []
    for number in range(ROUNDS):
        ours = timed(replay)
        theirs = {name: read(python, name, trace) for name in READERS}
        for name, seconds in theirs.items():
            ratios[name].append(ours / seconds)
        fastest.append(ours / min(theirs.values()))
        shown = ", ".join(f"{name} {seconds:.3f} s" for name, seconds in theirs.items())
        print(f"round {number + 1}: cowitness replay {ours:.3f} s, only reading: {shown}")
    for name, values in ratios.items():
        print(f"median ratio replay / {READERS[name]}: {statistics.median(values):.2f}")
    print(f"median ratio replay / fastest reader: {statistics.median(fastest):.2f}")


if __name__ == "__main__":
    main()
