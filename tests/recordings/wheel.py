"""A rotary encoder on a wheel turned by hand, with the movements that another program found in it.

Source: PyPI package ibllib 4.1.0 (MIT licence, International Brain Laboratory), file
brainbox/tests/fixtures/wheel_test.p, first element: 202 043 samples at 1 kHz of an encoder with 1024 lines and
fourfold evaluation, 4096 counts a turn, and the movements found by MATLAB code that shares nothing with this project.
The parameters of that search are the defaults of `movements` in brainbox/behavior/wheel.py.

There is one physical encoder. The second channel is made from the first: the same count as a single-turn encoder of
12 bits mounted the other way round would show it. It exercises unwrapping and the direction of counting, and says
nothing about two sources that differ.
"""

import bisect
import io
import math
import pickle
import struct
import zipfile

import archives

REQUIREMENT = "ibllib==4.1.0"
ARCHIVE = "ibllib-4.1.0-py3-none-any.whl"
ARCHIVE_SHA256 = "31d9a1c1ba74d624193c16c8591960e54eea45bbfc03b6aa60e7bfbeb10b2df4"
MEMBER = "brainbox/tests/fixtures/wheel_test.p"
MEMBER_SHA256 = "166ba21ef8707db3cd773195d906166737a54fcbdbe2b16d4d8eaa2ae8e7e2ea"
OUTPUTS = {
    "wheel.csv": "c0d88c309d3c6feb5f1a81d0e522c290cad5f0eab6212db93974286a73b87f95",
    "wheel-movements.csv": "8091a19263e9da21f59139cf731418b76d7fc019b20ea5a6a86c5194ecf49feb",
}

SAMPLES = 202043
# How many of them are no whole counts, because whoever recorded them interpolated there: 14 %.
INTERPOLATED = 28284
# 0.2 s at 1 kHz: the window of the search.
WINDOW = 200


class Dtype:
    """Stands for numpy.dtype; only 64-bit floats, little-endian, are known."""

    def __init__(self, name, *_):
        if name != "f8":
            raise pickle.UnpicklingError(f"an array of {name!r} instead of 64-bit floats")

    def __setstate__(self, state):
        if state[1] != "<":
            raise pickle.UnpicklingError(f"byte order {state[1]!r} instead of little-endian")


class Ndarray:
    """Stands for numpy.ndarray of one dimension."""

    def __setstate__(self, state):
        _, shape, dtype, _, data = state
        if not isinstance(dtype, Dtype) or len(shape) != 1 or len(data) != 8 * shape[0]:
            raise pickle.UnpicklingError("an array that is not one row of 64-bit floats")
        self.values = struct.unpack(f"<{shape[0]}d", data)


def reconstruct(kind, *_):
    """Stands for numpy.core.multiarray._reconstruct."""
    if kind is not Ndarray:
        raise pickle.UnpicklingError("not an array")
    return Ndarray()


class Unpickler(pickle.Unpickler):
    """Reads arrays of floats and nothing else: a pickle can name any function, so all others are refused."""

    KNOWN = {
        ("numpy", "ndarray"): Ndarray,
        ("numpy", "dtype"): Dtype,
        ("numpy.core.multiarray", "_reconstruct"): reconstruct,
    }

    def find_class(self, module, name):
        try:
            return self.KNOWN[(module, name)]
        except KeyError:
            raise pickle.UnpicklingError(f"the pickle asks for {module}.{name}") from None


def load(cache):
    """Times in s, positions in counts, and (onset, offset, amplitude) of each movement."""
    path = archives.fetch(cache, REQUIREMENT, ARCHIVE, ARCHIVE_SHA256, ["--only-binary", ":all:"])
    with zipfile.ZipFile(path) as archive:
        data = archive.read(MEMBER)
    archives.check(data, MEMBER_SHA256, MEMBER)
    # Checked above: these very bytes. The allow-list is the second lock.
    (times, positions), (onsets, offsets, amplitudes, _) = Unpickler(io.BytesIO(data)).load()[0]
    if len(times.values) != SAMPLES or len(positions.values) != SAMPLES:
        raise archives.Wrong(f"{MEMBER}: {len(times.values)} samples instead of {SAMPLES}")
    interpolated = sum(position != math.floor(position) for position in positions.values)
    if interpolated != INTERPOLATED:
        raise archives.Wrong(f"{MEMBER}: {interpolated} interpolated samples instead of {INTERPOLATED}")
    return times.values, positions.values, list(zip(onsets.values, offsets.values, amplitudes.values))


def index_of(times, instant):
    """The sample at an instant, which must be one of the samples to the nanosecond."""
    index = bisect.bisect_left(times, instant - 5e-4)
    if abs(times[index] - instant) > 1e-9:
        raise archives.Wrong(f"{MEMBER}: the movement at {instant} s does not begin or end at a sample")
    return index


def convert(cache):
    """The outputs by name."""
    times, positions, movements = load(cache)
    moving = bytearray(SAMPLES)
    settling = bytearray(SAMPLES)
    reset = bytearray(SAMPLES)
    table = ["onset_s,offset_s,amplitude_counts\n"]
    for onset, offset, amplitude in movements:
        begin, end = index_of(times, onset), index_of(times, offset)
        for i in range(begin, end):
            moving[i] = 1
        for i in range(end, end + WINDOW):
            settling[i] = 1
        # Pressed once the wheel has been at rest for the whole window, released 50 ms later.
        for i in range(end + WINDOW + 50, end + WINDOW + 100):
            reset[i] = 1
        table.append(f"{onset:.9f},{offset:.9f},{amplitude:.6f}\n")
    rows = ["time_s,count,single_turn_count,moving,resting,settling,reset\n"]
    for i, (time, position) in enumerate(zip(times, positions)):
        # Rounded half up: a whole number of counts added before rounding is added after it, so two samples at most 8
        # counts apart stay at most 8 apart.
        count = math.floor(position + 0.5)
        rows.append(f"{time:.9f},{count},{-count % 4096},{moving[i]},{1 - moving[i]},{settling[i]},{reset[i]}\n")
    return {
        "wheel.csv": "".join(rows).encode("ascii"),
        "wheel-movements.csv": "".join(table).encode("ascii"),
    }
