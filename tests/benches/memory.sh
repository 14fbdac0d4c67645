#!/usr/bin/env bash
# Peak memory of a replay of 10^8 rows from a pipe: 12500 s at 8 kHz, invented, made on the fly and never on disk.
#
#   cargo build --release --bin cowitness && tests/benches/memory.sh
#
# Prints the peak in kB as the kernel counts it, and fails above 64 MiB.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=$PWD/target/release/cowitness
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cat > "$folder/long.toml" <<'TOML'
title    = "A long day"
seed     = 1
unit     = "mm"
duration = "12500 s"
rate     = "8 kHz"
[motion]
start        = "0 mm"
speed        = "100 mm/s"
acceleration = "2 m/s^2"
jerk         = "20 m/s^3"
[[move]]
at = "1 s"
to = "1000000 mm"
[encoder.a]
column         = "a"
unit_per_count = "0.0005 mm"
counter_bits   = 32
[encoder.b]
column         = "b"
unit_per_count = "0.001 mm"
counter_bits   = 24
TOML
cat > "$folder/axis.toml" <<'TOML'
title = "A long day"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "a"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "b"
counter_bits   = 24
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
discrepancy_time = "20 ms"
[[monitor]]
name  = "never too fast"
kind  = "speed-limit"
limit = "250 mm/s"
TOML
"$program" synth "$folder/long.toml" --out - --quiet |
    python3 -c '
import resource, subprocess, sys
done = subprocess.run(sys.argv[1:])
peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
print(f"peak memory {peak} kB, limit {64 * 1024} kB")
sys.exit(done.returncode or peak > 64 * 1024)
' "$program" replay - --setup "$folder/axis.toml"
