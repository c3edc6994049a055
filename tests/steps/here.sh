# Steps of this machine alone. Part of tests/run.
# shellcheck shell=bash

step_fmt() {
    cargo fmt --all --check
    (cd examples/firmware && cargo fmt --all --check)
    (cd tests/emulator/qcount && cargo fmt --check)
    (cd tests/emulator/deflog && cargo fmt --check)
    (cd tests/emulator/debouncers && cargo fmt --check)
}

step_clippy() {
    cargo clippy -q --workspace --all-targets -- -D warnings
    cargo clippy -q -p trueonset --all-features -- -D warnings
    (cd tests/emulator/qcount && CARGO_TARGET_DIR=$target/qcount cargo clippy -q -- -D warnings)
    (cd tests/emulator/deflog && CARGO_TARGET_DIR=$target/deflog cargo clippy -q -- -D warnings)
    choose_bare
    (cd examples/firmware && CARGO_TARGET_DIR=$target/firmware-clippy "${bare[@]}" clippy -q ${std[@]+"${std[@]}"} \
        --target thumbv7m-none-eabi --bins --features async -- -D warnings
        CARGO_TARGET_DIR=$target/firmware-clippy "${bare[@]}" clippy -q ${std[@]+"${std[@]}"} \
            --target thumbv7m-none-eabi --bin board_rtic --features rtic -- -D warnings
        CARGO_TARGET_DIR=$target/firmware-clippy "${bare[@]}" clippy -q ${std[@]+"${std[@]}"} \
            --target thumbv7m-none-eabi -p trueonset-c -- -D warnings)
    (cd tests/emulator/debouncers && CARGO_TARGET_DIR=$target/firmware-clippy "${bare[@]}" clippy -q ${std[@]+"${std[@]}"} \
        --target thumbv7m-none-eabi -- -D warnings)
}

step_test() { cargo test --workspace -j2; }

# Every state of small links, as many as fit into two minutes; and that faults in the rules are found.
step_walk() {
    cargo build -q --release -p trueonset-walk
    "$target/release/trueonset-walk" "${WALK:-200000}"
    "$target/release/trueonset-walk" faults 3000000
}

step_doc() {
    RUSTDOCFLAGS="-D warnings" cargo doc -q --workspace --no-deps
    RUSTDOCFLAGS="-D warnings" cargo doc -q -p trueonset --all-features --no-deps
}

# Core with 1.85 or whatever its manifest states, taken from Debian's archive into target/.
step_msrv() {
    local oldest version packages dir=$target/msrv-toolchain feature
    oldest=$(cargo read-manifest --manifest-path core/Cargo.toml | sed 's/.*"rust_version":"\([0-9.]*\)".*/\1/')
    if [ ! -x "$dir/usr/bin/rustc" ]; then
        archive
        version=$(apt-cache madison rustc-web | awk -v v="$oldest" 'index($3, v ".") == 1 { print $3; exit }')
        [ -n "$version" ] || die "Debian's archive has no rustc-web $oldest"
        packages=("rustc-web=$version" "libstd-rust-web-$oldest=$version" "libstd-rust-web-dev=$version" libllvm19)
        say "fetching ${packages[*]}"
        mkdir -p "$dir/deb"
        (cd "$dir/deb" && apt-get download -qq "${packages[@]}" 2>"$work/apt.log") || { cat "$work/apt.log" >&2; die "download failed"; }
        for package in "$dir"/deb/*.deb; do dpkg -x "$package" "$dir"; done
    fi
    local old=(env RUSTC="$dir/usr/bin/rustc" LD_LIBRARY_PATH="$dir/usr/lib/x86_64-linux-gnu:$dir/usr/lib" CARGO_TARGET_DIR="$target/msrv")
    "${old[@]}" "$dir/usr/bin/rustc" --version | grep -F "rustc $oldest."
    "${old[@]}" cargo build -q -p trueonset
    for feature in $(features); do
        say "core, feature $feature"
        "${old[@]}" cargo build -q -p trueonset --no-default-features --features "$feature"
    done
    say "host program"
    "${old[@]}" cargo build -q -p trueonset-sim
}

# The examples for the PC: what they print and how they exit.
step_examples() {
    local dir=$programs/examples status wanted plan
    build_programs
    rm -rf "$work/examples"
    mkdir -p "$work/examples"
    cd "$work/examples"
    "$dir/trigger_timing" 50dB 1ms >timing
    awk 'NR > 1 && $2 != 0 { bad = 1 } END { exit bad || NR != 6 }' timing || { cat timing >&2; die "trigger_timing missed a touch, or lines are missing"; }
    "$programs/trueonset" demo --out demo >demo.log 2>&1 || { cat demo.log >&2; die "demo failed"; }
    cmp demo/touch.svg "$root/examples/touch.svg" || die "the picture of the README is not the one the demo draws"
    # The first command of the README, built as users build it; the report tells where it lies.
    (cd "$root" && cargo run -q --release -p trueonset-sim -- demo --out "$work/examples/shipped") >demo.log 2>&1 || { cat demo.log >&2; die "the first command of the README failed"; }
    diff -rq -x report.html demo shipped || die "the program that users build does not draw the same demo"
    for wanted in "0 whole" "1 broken" "2 link-lost" "0 small-break"; do
        status=0 plan=whole-or-broken
        [ "${wanted#* }" != small-break ] || plan=small-break
        "$programs/trueonset" gauge "$root/examples/gauge/$plan.toml" "$root/examples/gauge/${wanted#* }.csv" >told 2>&1 || status=$?
        [ "$status" = "${wanted% *}" ] || { cat told >&2; die "gauge of ${wanted#* }: exit $status, expected ${wanted% *}"; }
    done
    for wanted in "0 100us" "1 10ns" "2 fast"; do
        status=0
        "$dir/rig_check" demo/edges.csv "${wanted#* }" >judged 2>&1 || status=$?
        [ "$status" = "${wanted% *}" ] || { cat judged >&2; die "rig_check with ${wanted#* }: exit $status, expected ${wanted% *}"; }
    done
}
