#!/usr/bin/env bash
# Logs to signal columns on one core, beside python-can with cantools, asammdf and can-utils log2asc on the same core in
# the same minutes, and the memory that a long stream takes. Method and results: docs/benchmarks.md.
set -euo pipefail
cd "$(dirname "$0")/.."
scripts/setup.sh
target=${CARGO_TARGET_DIR:-target}
folder=$target/bench/bus
dbc=${SOOTWRIGHT_SHARED:-../shared}/data/bus/own-j1939-aftertreatment.dbc
core=$(($(nproc) - 1))
mkdir -p "$folder"
[ -f "$folder/plain.mf4" ] || .venv/bin/python checks/python/bench_bus.py "$folder"
cargo build --release --quiet --locked -p recording --example decode_speed --example stream
files=("$folder/truck.log" "$folder/part.blf" "$folder/part.mf4" "$folder/plain.mf4")
echo "$(nproc) cores, load $(cut -d' ' -f1 /proc/loadavg), $(grep -m1 'model name' /proc/cpuinfo | cut -d: -f2 | xargs)"
TIMEFORMAT='wall %R s, processor %U + %S s'
taskset -c "$core" "$target/release/examples/decode_speed" "${files[@]}"
echo "--- log2asc"
for _ in 1 2 3; do time taskset -c "$core" log2asc -I "$folder/truck.log" -O /dev/null can0; done
echo "--- Python"
taskset -c "$core" .venv/bin/python checks/python/bench_bus_reference.py "$dbc" "${files[@]}"
echo "--- memory of a stream of 2 GB"
for _ in $(seq 40); do cat "$folder/truck.log"; done | "$target/release/examples/stream"
