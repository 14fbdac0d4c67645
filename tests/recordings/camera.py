"""A camera moved by hand, followed by motion capture and, independently, by its own pictures.

Source: PyPI package evo 1.38.1, source archive (code GPL-3.0-or-later), files
test/data/freiburg1_xyz-groundtruth.txt (motion capture, 100 Hz, steps of 0.1 mm) and
test/data/freiburg1_xyz-rgbdslam.txt (position computed from the camera's colour and depth pictures, about 30 Hz).
Both come from the TUM RGB-D benchmark, sequence freiburg1_xyz; its licence is CC BY 4.0 (from memory: the archive
carries no licence of its own for them). They are fetched, not kept in this project.

These are two independent sources of one motion, with clocks of their own rates, on one time base. Along each of the
three axes they make one asynchronous trace: a row per reading, and the cell of the other source is empty. The time
stamps count from 1970 and keep the digits they were recorded with.

Beside the traces stands what must come out, computed here from the formulas and without any code of the monitors, in
exact fractions as far as no root is drawn.
"""

import bisect
import json
import math
import tarfile
from fractions import Fraction

import archives

REQUIREMENT = "evo==1.38.1"
ARCHIVE = "evo-1.38.1.tar.gz"
ARCHIVE_SHA256 = "1d63faeeb37604641db65bdd08b0e83e71884071de368058a9c45bdcac3fc3f7"
FOLDER = "evo-1.38.1/test/data/"
MOCAP = ("freiburg1_xyz-groundtruth.txt", "aac0319a6ef4e1cdf61e779d2152b95aa7e9f7b1749d6d18717b43ddabffede2")
CAMERA = ("freiburg1_xyz-rgbdslam.txt", "bbcd66c6e19e6037ee550c66d307c9a008ed29ef8bd9baa6bbda119a1a51a3ee")
OUTPUTS = {
    "camera-x.csv": "78d4017b7d56ca62ca53fb440c3d60b654b94d47eb4c80e45885b7c9825b9146",
    "camera-y.csv": "8583e59a01fae8e19f72ca110a1e7e956fa90fa14cf9538bd1f74715759fbe4d",
    "camera-z.csv": "eb3bdb53dd7855940dbb3531503bafdbbea6c3afb9770a82d469e0ac9c77c68f",
    "camera-expected.json": "e5ed94a8b7c7429814c5aef9fac035f43c1faf90f8bcbc644bff1a63ada5de34",
}

# The settings of camera-x.toml, camera-y.toml and camera-z.toml.
WINDOW_NS = 100_000_000
TOLERANCE_MM = 25


def nanoseconds(text):
    """A time stamp in ns, exactly."""
    whole, _, decimals = text.partition(".")
    if len(decimals) > 9:
        raise archives.Wrong(f"time stamp {text} is finer than a nanosecond")
    return int(whole) * 10**9 + int(decimals.ljust(9, "0"))


def load(cache):
    """The rows of both files as lists of text cells; of the first file only what both sources saw."""
    path = archives.fetch(cache, REQUIREMENT, ARCHIVE, ARCHIVE_SHA256, ["--no-binary", "evo"])
    tables = []
    with tarfile.open(path) as archive:
        for name, digest in (MOCAP, CAMERA):
            data = archive.extractfile(FOLDER + name).read()
            archives.check(data, digest, name)
            lines = data.decode("ascii").splitlines()
            tables.append([line.split() for line in lines if line and not line.startswith("#")])
    mocap, camera = tables
    # Before and after, one source is alone: from the last reading before the other begins to the first after its end.
    stamps = [nanoseconds(row[0]) for row in mocap]
    first = bisect.bisect_right(stamps, nanoseconds(camera[0][0])) - 1
    last = bisect.bisect_left(stamps, nanoseconds(camera[-1][0]))
    return mocap[first : last + 1], camera


def trace(mocap, camera, column):
    """One axis as a trace."""
    rows = [(nanoseconds(row[0]), f"{row[0]},{row[column]},\n") for row in mocap]
    rows += [(nanoseconds(row[0]), f"{row[0]},,{row[column]}\n") for row in camera]
    rows.sort()
    if any(before[0] == after[0] for before, after in zip(rows, rows[1:])):
        raise archives.Wrong("two readings share a time stamp: they belong into one row")
    return "time_s,mocap_m,camera_m\n" + "".join(text for _, text in rows)


class Source:
    """The readings of one source so far, in ns and mm."""

    def __init__(self):
        self.at, self.x = [], []

    def push(self, at, x):
        self.at.append(at)
        self.x.append(x)

    def speed(self):
        """The speed over the window in mm/ns; None while no reading is old enough."""
        if not self.at:
            return None
        base = bisect.bisect_right(self.at, self.at[-1] - WINDOW_NS) - 1
        if base < 0:
            return None
        return (self.x[-1] - self.x[base]) / (self.at[-1] - self.at[base])

    def moved_to(self, now):
        """The newest position, moved to `now` by the speed, which must be known."""
        return self.x[-1] + self.speed() * (now - self.at[-1])


def interpolate(at, x, now):
    """Linear interpolation between the two readings around `now`."""
    i = bisect.bisect_right(at, now)
    return x[i - 1] + (x[i] - x[i - 1]) * Fraction(now - at[i - 1], at[i] - at[i - 1])


def mm(value):
    """A length for the file of expected values, to the picometre."""
    return round(float(value), 9)


def seconds(at):
    """Decimal seconds with all nine places."""
    return f"{at // 10**9}.{at % 10**9:09}"


def root_mean_square(values):
    """The root of the mean of the squares."""
    return mm(math.sqrt(sum(value * value for value in values) / len(values)))


def size(values):
    """Size of a series of lengths."""
    return {"rms_mm": root_mean_square(values), "largest_mm": mm(max(values))}


def figures(differences):
    """Size of a series of (instant in ns, difference in mm)."""
    at, largest = max(differences, key=lambda pair: (abs(pair[1]), -pair[0]))
    above = [at for at, d in differences if abs(d) > TOLERANCE_MM]
    return {
        "frames": len(differences),
        "rms_mm": root_mean_square([d for _, d in differences]),
        "largest_mm": mm(abs(largest)),
        "largest_at_s": seconds(at),
        "first_above_tolerance_s": seconds(above[0]) if above else None,
    }


def longest_gap(at):
    """The longest time between two readings."""
    i = max(range(1, len(at)), key=lambda i: at[i] - at[i - 1])
    return {"from_s": seconds(at[i - 1]), "to_s": seconds(at[i])}


def compared(frames, apart, known, position):
    """Size of the differences that a monitor sees, from the first frame at which what it needs is known of both sources;
    of the interpolated ones counted from the same frame; and of how far the former may be off the latter."""
    sources, reference = (Source(), Source()), None
    differences, interpolated, off = [], [], []
    for now, source, value in frames:
        sources[source].push(now, value)
        if not all(known(each) for each in sources):
            continue
        mocap, camera = (position(each, now) for each in sources)
        if reference is None:
            if source != 1:
                raise archives.Wrong("the references are not taken at a picture: there is nothing to interpolate to")
            reference = (mocap - camera, apart[now] - (mocap - value))
        differences.append((now, mocap - camera - reference[0]))
        if source == 1:
            # The camera's reading is of this very instant, so only motion capture is late: what matters is how far its
            # position is from the interpolated one, less the same at the reference.
            interpolated.append(now)
            off.append(abs(apart[now] - (mocap - value) - reference[1]))
    since = [(now, apart[now] - apart[interpolated[0]]) for now in interpolated]
    return figures(differences), figures(since), size(off)


def expected(mocap, camera, column):
    """What must come out along one axis."""
    frames = [(nanoseconds(row[0]), 0, Fraction(row[column]) * 1000) for row in mocap]
    frames += [(nanoseconds(row[0]), 1, Fraction(row[column]) * 1000) for row in camera]
    frames.sort()
    at = [now for now, source, _ in frames if source == 0]
    x = [value for _, source, value in frames if source == 0]

    # Motion capture moved to the instant of each picture by interpolation, which may look ahead.
    apart = {now: interpolate(at, x, now) - value for now, source, value in frames if source == 1}

    # As a monitor sees it: newest readings as they are, as soon as there are two; or each moved on to the present by
    # its own speed, as soon as both speeds are known.
    held = compared(frames, apart, lambda each: each.at, lambda each, now: each.x[-1])
    aligned = compared(frames, apart, lambda each: each.speed() is not None, Source.moved_to)
    report = {"interpolated": figures(list(apart.items())), "mocap_gap": longest_gap(at)}
    for name, found in (("held", held), ("aligned", aligned)):
        report[name], report[f"{name}_interpolated"], report[f"{name}_off"] = found
    return report


def convert(cache):
    """The outputs by name."""
    mocap, camera = load(cache)
    axes = {"x": 1, "y": 2, "z": 3}
    outputs = {f"camera-{axis}.csv": trace(mocap, camera, column).encode("ascii") for axis, column in axes.items()}
    report = {axis: expected(mocap, camera, column) for axis, column in axes.items()}
    outputs["camera-expected.json"] = (json.dumps(report, indent=2) + "\n").encode("ascii")
    return outputs
