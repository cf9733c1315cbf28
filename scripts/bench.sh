#!/usr/bin/env bash
# One hour of OBD traffic at 10 Hz, decoded and assessed on one core, beside python-can and cantools reading
# the same file on the same core in the same minute. Method and results: docs/benchmarks.md.
set -euo pipefail
cd "$(dirname "$0")/.."
scripts/setup.sh
target=${CARGO_TARGET_DIR:-target}
mkdir -p "$target/bench"
log=$target/bench/hour.log
.venv/bin/python checks/python/bench_log.py "$log"
echo "$(wc -l <"$log") frames, $(wc -c <"$log") bytes; $(nproc) cores, load $(cut -d' ' -f1 /proc/loadavg), $(grep -m1 'model name' /proc/cpuinfo | cut -d: -f2 | xargs)"
cargo build --release --quiet --locked -p checks --example speed
core=$(($(nproc) - 1))
ours=$(taskset -c "$core" "$target/release/examples/speed" "$log")
theirs=$(taskset -c "$core" .venv/bin/python checks/python/bench_reference.py "$log")
echo "$ours" | grep -v '^seconds'
echo "$theirs" | grep -v '^reference_seconds'
awk -v a="$(awk '/^seconds/ {print $2}' <<<"$ours")" -v b="$(awk '/^reference_seconds/ {print $2}' <<<"$theirs")" \
    'BEGIN { printf "decode and assess: %.3f s; python-can + cantools: %.2f s; ratio %.0f\n", a, b, b / a }'
