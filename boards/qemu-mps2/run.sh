#!/usr/bin/env bash
# Run a firmware image in the emulator and put what it says into words; the exit status is that of the firmware, or 124
# after two minutes.
# `-icount shift=0` makes one instruction take one nanosecond of the machine's time, whatever the host does.
set -o pipefail
here=$(dirname "$0")
timeout --foreground 120 qemu-system-arm \
    -machine mps2-an386 -display none -monitor none -serial none \
    -semihosting-config enable=on,target=native -icount shift=0 -kernel "$@" |
    cargo run --quiet --release --manifest-path "$here/../figures/Cargo.toml" -- said "$1"
