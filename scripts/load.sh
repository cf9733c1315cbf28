#!/usr/bin/env bash
# Load on the bench: records of JOBS jobs (default 100 000) in FOLDER, then 100 requests a second for a minute over pages
# and interface, addresses drawn at random, before and after each was looked at once, by wrk (Debian's package; the script beside this one paces it). Says start-up,
# latencies, memory and the largest page. Usage: scripts/load.sh FOLDER [JOBS]
set -euo pipefail
cd "$(dirname "$0")/.."
folder=${1:?usage: scripts/load.sh FOLDER [JOBS]}
jobs=${2:-100000}
target=${CARGO_TARGET_DIR:-target}
command -v wrk >/dev/null || { echo "wrk is not installed: apt-get install wrk"; exit 1; }
cargo build --release --locked --quiet -p app
if [ ! -e "$folder/addresses.txt" ]; then
    cargo build --release --locked --quiet -p bench --example fill_store
    mkdir -p "$folder"
    time "$target/release/examples/fill_store" "$folder" "$jobs"
fi
du -h "$folder/records.sqlite"

port=8931
base=http://127.0.0.1:$port
start=$(date +%s%N)
"$target/release/sootwright" serve --data "$folder" --address "127.0.0.1:$port" >/dev/null &
bench=$!
trap 'kill $bench' EXIT
until curl -s -o /dev/null "$base/"; do sleep 0.01; done
echo "first page after $((($(date +%s%N) - start) / 1000000)) ms"

echo "--- largest answers, bytes"
shuf -n 300 --random-source=<(yes) "$folder/addresses.txt" | while read -r path; do
    curl -s -o /dev/null -w "%{size_download} %{http_code} $path\n" "$base$path"
done | sort -rn | head -3

# A car that nobody looked at since its facts changed costs an assessment at its first look; that is measured apart. The
# shelf is left out: it is over the goal by itself.
sample=$folder/sample.txt
grep -v '^/shelf' "$folder/addresses.txt" | shuf -n 2600 --random-source=<(yes) >"$sample" || true
load() { wrk -t2 -c20 -d"${SECONDS_OF_LOAD:-60}"s -s scripts/load.lua "$base" -- "$sample" | grep 'median'; }
echo "--- 100 requests a second, answers worked out at the first look"
load
echo "--- every address once"
time xargs -P2 -I{} curl -s -o /dev/null "$base{}" <"$sample"
echo "--- 100 requests a second, answers kept"
load
grep -E 'VmHWM|VmRSS' "/proc/$bench/status"
