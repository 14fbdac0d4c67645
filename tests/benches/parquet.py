#!/usr/bin/env python3
"""Replay of 10 million rows as Parquet and Arrow IPC against the same rows as CSV, and against libraries that only read them, in turns in one run.

    cargo build --release --bin cowitness && python3 tests/benches/parquet.py

Takes the invented trace of peers.py, converts it, and times whole processes. Prints every round and the median ratios of wall times: the replay of
the CSV by that of each table, and the replay of a table by the time that a library needs to only read the columns of the setup.
"""
import os
import pathlib
import statistics
import subprocess
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))

import peers

ROUNDS = int(os.environ.get("ROUNDS", "5"))
COLUMNS = ["time", "motor_count", "rail_count", "door_1", "door_2", "at_loading"]
READ = {
    "polars": "import polars, time; s = time.perf_counter(); polars.read_parquet({path!r}, columns={columns}); print(time.perf_counter() - s)",
    "pyarrow": "import pyarrow.parquet as p, time; s = time.perf_counter(); p.read_table({path!r}, columns={columns}); print(time.perf_counter() - s)",
}
WRITE = "import pyarrow.csv as c, pyarrow.parquet as p; p.write_table(c.read_csv({csv!r}), {path!r}, compression='snappy')"


def read(python, name, path):
    env = os.environ | {"POLARS_MAX_THREADS": "2", "OMP_NUM_THREADS": "2"}
    code = READ[name].format(path=str(path), columns=COLUMNS)
    done = subprocess.run([python, "-c", code], check=True, capture_output=True, text=True, env=env)
    return float(done.stdout)


def main():
    program = peers.ROOT / "target" / "release" / "cowitness"
    if not program.exists():
        sys.exit("build first: cargo build --release --bin cowitness")
    python, csv = peers.prepare()
    setup = peers.FOLDER / "axis.toml"
    tables = {"parquet": peers.FOLDER / "trace.parquet", "arrow": peers.FOLDER / "trace.arrow"}
    for path in tables.values():
        subprocess.run([program, "convert", csv, "--out", path, "--setup", setup, "--quiet"], check=True)
    # As another program writes it: dictionaries, floats in seconds.
    tables["pyarrow's"] = peers.FOLDER / "trace-pyarrow.parquet"
    code = WRITE.format(csv=str(csv), path=str(tables["pyarrow's"]))
    subprocess.run([python, "-c", code], check=True)
    for name, path in {"csv": csv, **tables}.items():
        print(f"{name}: {path.stat().st_size / 1e6:.1f} MB")

    def replay(path):
        return peers.timed([program, "replay", path, "--setup", setup, "--quiet"])

    for path in tables.values():
        replay(path)
    faster = {name: [] for name in tables}
    slower = {name: [] for name in READ}
    fastest = []
    for number in range(ROUNDS):
        of_csv = replay(csv)
        ours = {name: replay(path) for name, path in tables.items()}
        theirs = {name: read(python, name, tables["parquet"]) for name in READ}
        for name, seconds in ours.items():
            faster[name].append(of_csv / seconds)
        for name, seconds in theirs.items():
            slower[name].append(ours["parquet"] / seconds)
        fastest.append(ours["parquet"] / min(theirs.values()))
        shown = ", ".join(f"{name} {seconds:.3f} s" for name, seconds in {"csv": of_csv, **ours}.items())
        shown += "; only reading: " + ", ".join(f"{name} {seconds:.3f} s" for name, seconds in theirs.items())
        print(f"round {number + 1}: replay {shown}")
    for name, values in faster.items():
        print(f"median ratio replay of csv / {name}: {statistics.median(values):.2f}")
    for name, values in slower.items():
        print(f"median ratio replay of parquet / {name} only reading: {statistics.median(values):.2f}")
    print(f"median ratio replay of parquet / fastest reader: {statistics.median(fastest):.2f}")


if __name__ == "__main__":
    main()
