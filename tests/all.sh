#!/usr/bin/env bash
# Every test of nullwalk: on the host, through the link gate, and as firmware in the emulator.
set -euo pipefail
cd "$(dirname "$0")/.."

export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}"
M4=thumbv7em-none-eabihf
M0=thumbv6m-none-eabi
M33=thumbv8m.main-none-eabihf
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

step() { printf '\n== %s [%d s]\n' "$1" "$SECONDS"; }

gate() { # TARGET FEATURES: build the link gate
    cargo build --quiet -p nullwalk-link-gate --profile firmware --target "$1" --features "$2"
}
image() { # TARGET PACKAGE
    echo "$CARGO_TARGET_DIR/$1/firmware/$2"
}
firmware() { # TARGET FILE: run the core's work in the emulator. What it says last, if it fails, is why.
    cargo run --quiet -p nullwalk-qemu-mps2 --profile firmware --target "$1" >"$2" || { tail -3 "$2"; return 1; }
}
FIGURES=boards/figures/Cargo.toml
figures() { cargo run --quiet --release --manifest-path $FIGURES -- "$@"; }

step "Tools, targets and the emulator"
bash tests/prepare.sh

step "Tests on the host, examples in the documentation included"
cargo test --workspace --release --quiet
cargo test --manifest-path $FIGURES --release --quiet

step "Maps of a job, opened by GDAL, ezdxf and others"
# The command that was built for the tests: to build it by itself, with other features, would build everything again.
bash tests/maps.sh "$CARGO_TARGET_DIR/release/nullwalk"

step "The local page in a browser"
bash tests/page.sh "$CARGO_TARGET_DIR/release/nullwalk"

if [ -e tests/fuzz/Cargo.toml ]; then
    step "Fuzz targets compile"
    cargo check --quiet --manifest-path tests/fuzz/Cargo.toml
fi

step "Link gate: core, drivers and handset cannot panic"
for target in $M4 $M0; do
    if ! gate $target ""; then
        echo "A panic can be reached in what is built for $target, from:"
        gate $target open-gate
        figures panics "$(image $target nullwalk-link-gate)"
        exit 1
    fi
    echo "$target: links, so no panic is reachable"
done

step "Link gate: it does close on a panic, and says where"
for target in $M4 $M0; do
    if gate $target a-panic-on-purpose 2>"$work/linker"; then
        echo "The gate for $target let a panic through: it proves nothing."
        exit 1
    fi
    grep -q "undefined symbol: a_panic_is_reachable" "$work/linker" || { cat "$work/linker"; exit 1; }
    gate $target a-panic-on-purpose,open-gate
    figures panics "$(image $target nullwalk-link-gate)" >"$work/places"
    grep "link-gate/src/parts.rs" "$work/places"
done

step "Firmware in the emulator: the same bits as on the host"
cargo run --quiet --release -p nullwalk-qemu-mps2 >"$work/host.toml"
firmware $M4 "$work/m4.toml"
firmware $M0 "$work/m0.toml"
figures same "$work/host.toml" "$work/m4.toml"
figures same "$work/host.toml" "$work/m0.toml"
echo "A locate with the handset, as the emulated Cortex-M4F tells it:"
grep '^#' "$work/m4.toml"

step "The deepest stack of a handset, as its code tells it"
figures stack handset "$(image $M4 nullwalk-qemu-mps2)" nullwalk_qemu_mps2::handset::locate | tee "$work/stack.toml"

step "The firmware for the Pico 2"
cargo build --quiet -p nullwalk-pico2 --profile board --target $M33
figures size pico2 "$CARGO_TARGET_DIR/$M33/board/nullwalk-pico2" >"$work/pico2.toml"
figures stack pico2 "$CARGO_TARGET_DIR/$M33/board/nullwalk-pico2" main | tee -a "$work/pico2.toml"

step "Figures on a Cortex-M4F, what they were, and their limits"
gate $M4 handset-alone
figures size core "$(image $M4 nullwalk-link-gate)" >"$work/core.toml"
gate $M4 handset-whole
figures size handset "$(image $M4 nullwalk-link-gate)" >"$work/handset.toml"
figures table "$work"/{core,handset,stack,m4,pico2}.toml >"$CARGO_TARGET_DIR/figures.toml"
figures check boards/limits.toml boards/figures.toml "$CARGO_TARGET_DIR/figures.toml"

step "All tests passed"
