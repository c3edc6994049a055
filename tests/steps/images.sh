# Core and images for bare metal: built, run in the emulator. Part of tests/run.
# shellcheck shell=bash

# Core alone on each target: without features, and with each feature alone; then machine code of all of it for the
# least of the processors. That of the features in use is made for every target by the proof.
step_bare() {
    local feature one targets=()
    for one in "${arm[@]}" "$riscv"; do targets+=(--target "$one"); done
    for feature in "" $(features); do
        say "features: ${feature:-none}"
        core_bare check "${targets[@]}" --no-default-features --features "$feature"
    done
    say "all features, built for ${arm[0]}"
    core_bare build --target "${arm[0]}" --all-features
}

core_bare() {
    choose_bare
    CARGO_TARGET_DIR=$target/bare "${bare[@]}" "$1" -q ${std[@]+"${std[@]}"} -p trueonset "${@:2}"
}

# Builds images for the Cortex-M boards, as `profile` says or else with --release; further arguments go to cargo.
images() {
    local one targets=()
    for one in "${arm[@]}"; do targets+=(--target "$one"); done
    image_for "${targets[@]}" "$@"
}

# The same for all boards. RISC-V apart: in one call the two architectures would share features that exclude each other.
images_all() {
    images "$@"
    image_for --target "$riscv" "$@"
}

image_for() {
    local more=()
    choose_bare
    # How much stack each function takes, told in a section that no board loads, is what `budget` needs.
    [ "${profile:-}" != --profile=small ] || more=(RUSTFLAGS="-Z emit-stack-sizes" RUSTC_BOOTSTRAP=1)
    (cd "$root/examples/firmware" && env ${more[@]+"${more[@]}"} CARGO_TARGET_DIR=$target/firmware \
        "${bare[@]}" build -q "${profile:---release}" ${std[@]+"${std[@]}"} "$@")
}

step_firmware() {
    images_all --bin replay
    (cd "$target/firmware" && arm-none-eabi-size ./*/release/replay)
}

# emulate MACHINE IMAGE [-plugin ...] -- ARG...: runs an image in the present folder with arguments.
emulate() {
    local machine=$1 image=$2 config=enable=on,target=native more=() emulator
    shift 2
    while [ "$1" != -- ]; do more+=("$1"); shift; done
    shift
    for word; do config+=,arg=$word; done
    read -ra emulator <<<"$(emulator "$machine")"
    timeout "${patience:-120}" "${emulator[@]}" -nographic -monitor none ${more[@]+"${more[@]}"} \
        -semihosting-config "$config" -kernel "$image" </dev/null
}

# The emulator's call for a machine.
emulator() {
    case $1 in
        virt) printf 'qemu-system-riscv32 -M %s -bios none' "$1" ;;
        *) printf 'qemu-system-arm -M %s' "$1" ;;
    esac
}
