#!/usr/bin/env bash
# Installs what the tests need, then runs all of them: format, lints, documentation, checks against
# outside references, the demo, and every Rust test. All steps run even if one fails; the last line
# counts Rust tests and steps together.
#
# With CI=true (or SOOTWRIGHT_REQUIRE_SHARED=1) the open recordings must lie in ../shared/data; otherwise
# tests that need them say that they were skipped.
set -uo pipefail
cd "$(dirname "$0")/.."
export CARGO_TERM_COLOR=never
if [ "${CI:-}" = true ]; then export SOOTWRIGHT_REQUIRE_SHARED=1; fi

scripts/setup.sh || { echo "the tests could not be set up"; exit 1; }

log=$(mktemp)
trap 'rm -f "$log"' EXIT
passed=0
failed=()
step() {
    local name=$1
    shift
    printf '\n--- %s\n' "$name"
    local start=$SECONDS
    if "$@" </dev/null; then
        passed=$((passed + 1))
        echo "--- $name: done after $((SECONDS - start)) s"
    else
        failed+=("$name")
        echo "--- $name: FAILED after $((SECONDS - start)) s"
    fi
}

documentation() { RUSTDOCFLAGS="-D warnings" cargo doc --workspace --no-deps --locked --quiet; }
browser() { python3 checks/browser/hour.py "${CARGO_TARGET_DIR:-target}/release/sootwright"; }
release() { cargo build --release --locked --quiet -p app -p checks --bins; }
references() { .venv/bin/python checks/python/run_all.py; }
interface() { .venv/bin/python checks/python/interface.py "${CARGO_TARGET_DIR:-target}/release/sootwright"; }
demo() { cargo run --release --locked --quiet -- demo; }
features() { cargo clippy --workspace --features app/parquet,app/socketcan --bin sootwright --locked --quiet -- -D warnings; }
tests() { cargo test --workspace --locked --no-fail-fast 2>&1 | tee "$log" | grep -v '^test .* ok$'; return "${PIPESTATUS[0]}"; }

step "format" cargo fmt --all --check
step "lints" cargo clippy --workspace --all-targets --locked --quiet -- -D warnings
step "optional features" features
step "documentation" documentation
step "release build" release
step "outside references" references
step "demo" demo
step "browser" browser
step "interface for programs" interface
step "tests" tests

# `test result: ok. 12 passed; 0 failed; ...`, one line a test program.
read -r test_passed test_failed < <(awk '/^test result:/ { p += $4; f += $6 } END { print p + 0, f + 0 }' "$log")
if [ "${#failed[@]}" -gt 0 ]; then
    printf '\nfailed steps: %s\n' "$(IFS=,; echo "${failed[*]}")"
fi
echo
echo "$((test_passed + passed)) passed, $((test_failed + ${#failed[@]})) failed"
[ "${#failed[@]}" -eq 0 ] && [ "$test_passed" -gt 0 ]
