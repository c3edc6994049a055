# What must be there: packages, compilers, programs. Part of tests/run.
# shellcheck shell=bash

# Installs Debian packages, one call at a time.
install() {
    if [ "$(id -u)" != 0 ] || ! have apt-get; then
        die "missing: $*; install these Debian packages, or run this as root on Debian 12"
    fi
    say "installing $*"
    archive
    DEBIAN_FRONTEND=noninteractive flock "$work/apt" apt-get install -y -qq --no-install-recommends "$@" >"$work/apt.log" 2>&1 ||
        { cat "$work/apt.log" >&2; die "apt-get could not install $*"; }
}

# The lists of Debian's archive, once.
archive() {
    flock "$work/apt" sh -c '[ -e "$0" ] || { apt-get update -qq && touch "$0"; }' "$work/apt-updated"
}

# What is missing for any step.
need() {
    local missing=()
    have cargo && have rustc || missing+=(cargo-web rustc-web rust-web-src rustfmt-web rust-web-clippy)
    have cc || missing+=(gcc libc6-dev)
    [ -d /etc/ssl/certs ] || missing+=(ca-certificates)
    [ ${#missing[@]} = 0 ] || install "${missing[@]}"
    cargo fmt --version >/dev/null 2>&1 || install rustfmt-web
    cargo clippy --version >/dev/null 2>&1 || install rust-web-clippy
    choose_bare
    [ "${bare[0]}" = cargo ] || [ -x /usr/bin/cargo-clippy ] || install rust-web-clippy
    say "$(rustc --version)"
}

# need_more STEP..: what is missing for boards and for these steps.
need_more() {
    local missing=()
    have qemu-system-arm || missing+=(qemu-system-arm)
    have qemu-system-riscv32 || missing+=(qemu-system-misc)
    have arm-none-eabi-ld || missing+=(binutils-arm-none-eabi)
    have riscv64-unknown-elf-ld || missing+=(binutils-riscv64-unknown-elf)
    if [[ " $* " == *" c "* ]]; then
        have arm-none-eabi-gcc || missing+=(gcc-arm-none-eabi)
        [ -e /usr/lib/arm-none-eabi/lib/librdimon.a ] || missing+=(libnewlib-arm-none-eabi)
        have cbindgen || missing+=(cbindgen)
        have g++ || missing+=(g++)
        # Without a library of C, which is a gigabyte.
        have riscv64-unknown-elf-gcc || missing+=(gcc-riscv64-unknown-elf)
    fi
    [[ " $* " != *" browser "* ]] || have chromium || missing+=(chromium)
    [ ${#missing[@]} = 0 ] || install "${missing[@]}"
    say "$(qemu-system-arm --version | head -n 1)"
}

# Decides how bare-metal targets are built: `bare` is the cargo to call, `std` its further flags.
choose_bare() {
    local one libdir all=yes
    for one in "${arm[@]}" "$riscv"; do
        libdir=$(rustc --print target-libdir --target "$one" 2>/dev/null) && [ -d "$libdir" ] || all=no
    done
    if [ $all = yes ]; then
        bare=(cargo) std=() compiler=rustc
        return
    fi
    # No prebuilt core for the targets: build it from its source, which Debian packages.
    [ -e /usr/lib/rustlib/src/rust/library/core/Cargo.toml ] || install rustc-web cargo-web rust-web-src
    bare=(env RUSTC=/usr/bin/rustc RUSTC_BOOTSTRAP=1) std=(-Z build-std=core) compiler=/usr/bin/rustc
    for one in "${arm[@]}"; do
        one=${one//-/_}
        bare+=("CARGO_TARGET_${one^^}_LINKER=arm-none-eabi-ld")
    done
    one=${riscv//-/_}
    bare+=("CARGO_TARGET_${one^^}_LINKER=riscv64-unknown-elf-ld")
    # Debian's cargo finds its own clippy, not that of another toolchain.
    bare+=("PATH=/usr/bin:$PATH" /usr/bin/cargo)
}

# The features of core, as its manifest has them.
features() {
    cargo read-manifest --manifest-path "$root/core/Cargo.toml" |
        grep -o '"features":{[^}]*}' | grep -o '"[a-z_-]*":\[' | tr -d '":[' | grep -v '^default$'
}

# The programs and examples, just as `cargo test` builds them: once for all steps, and with checks of overflow.
programs=$target/debug
build_programs() { cargo build -q --profile test --workspace --bins --examples; }
