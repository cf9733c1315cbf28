#!/usr/bin/env bash
# The records on a PostgreSQL server: starts one of its own in a temporary folder (Debian's package postgresql), runs the
# tests of the store against it, stops it. Not part of scripts/test.sh: the feature builds the database driver a second time.
set -euo pipefail
cd "$(dirname "$0")/.."
bin=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -1)
[ -n "$bin" ] || { echo "PostgreSQL is not installed: apt-get install postgresql"; exit 1; }
folder=$(mktemp -d)
port=${PORT:-5544}
as_server() { if [ "$(id -u)" -eq 0 ]; then chown postgres "$folder" && su postgres -c "$*"; else bash -c "$*"; fi; }
trap 'as_server "$bin/pg_ctl -D $folder/d -m immediate stop >/dev/null"; rm -rf "$folder"' EXIT
as_server "$bin/initdb -D $folder/d -A trust -U soot >/dev/null"
as_server "$bin/pg_ctl -D $folder/d -o '-p $port -k $folder' -l $folder/log -w start >/dev/null"
"$bin/createdb" -h 127.0.0.1 -p "$port" -U soot records
export SOOTWRIGHT_POSTGRES=postgres://soot@127.0.0.1:$port/records
cargo test -p store --features postgres --test records
