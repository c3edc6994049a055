# No panic is reachable. Part of tests/run.
# shellcheck shell=bash

# Every public function of core is called in the proof, as far as its name tells.
called() {
    local name missing=()
    while read -r name; do
        grep -rqw -- "$name" examples/firmware/src/proof || missing+=("$name")
    done < <(find core/src -name '*.rs' ! -name tests.rs ! -path '*/tests/*' -print0 | xargs -0 awk -f tests/emulator/public.awk | sort -u)
    [ ${#missing[@]} = 0 ] || die "the proof does not call: ${missing[*]}"
}

step_proof() {
    called
    images_all --bin proof
    say "no panic is reachable in core on ${arm[*]} $riscv, linked as one and without checks of overflow"
    # The proof must be able to fail: with a division by an unknown number it may not link.
    for images in images "image_for --target $riscv"; do
        # shellcheck disable=SC2086 # words on purpose
        if $images --bin proof --features reachable-panic >"$work/proof.log" 2>&1; then
            die "the counter-example linked: the proof proves nothing"
        fi
        grep -q "a_panic_is_reachable" "$work/proof.log" || { cat "$work/proof.log" >&2; die "the counter-example failed for another reason"; }
    done
    say "the counter-example does not link, as it must"
    images_all -p trueonset-c
    exports || { cat "$work/proof.log" >&2; die "a panic is reachable behind an export of the library for C"; }
    # As many as the header has.
    [ "$(wc -l <"$work/exports")" = "$(grep -c '^[a-z].*trueonset_[a-z_]*(' examples/firmware/c-abi/trueonset.h)" ] || die "the library for C exports other functions than its header has"
    say "nor behind any of the $(wc -l <"$work/exports") functions that the library for C exports"
    images_all -p trueonset-c --features reachable-panic
    if exports; then
        die "the counter-example in C linked: the proof proves nothing"
    fi
    grep -q "trueonset_a_panic_is_reachable" "$work/proof.log" || { cat "$work/proof.log" >&2; die "the counter-example in C failed for another reason"; }
    say "its counter-example does not link either"
    local found image
    profile=--profile=small images_all --bin head --bin board --bin wired --features no-panic
    shells ,no-panic
    # The symbols of a RISC-V image are in the same format.
    for image in "$target"/firmware/{thumb*,"$riscv"}/small/{head,board,wired} "$target"/firmware/thumbv7m-none-eabi/small/board_{async,rtic}; do
        [ -e "$image" ] || die "no image $image"
        found=$(arm-none-eabi-nm -C "$image" | grep -E 'core::fmt|panick|rust_begin_unwind|unwrap_failed' || true)
        [ -z "$found" ] || { printf '%s\n' "$found" >&2; die "$image panics or formats"; }
    done
    say "no panic is reachable and nothing is formatted in head, board and wired on ${arm[*]} $riscv, nor in the shells of the board on the M3"
    budget
}

# Links the library for C with all that it exports, and nothing else, on every target.
exports() {
    local one library linker
    for one in "${arm[@]}" "$riscv"; do
        linker=arm-none-eabi-ld
        [ "$one" = "$riscv" ] && linker="riscv64-unknown-elf-ld -m elf32lriscv"
        library=$target/firmware/$one/release/libtrueonset_c.a
        arm-none-eabi-nm --defined-only "$library" 2>/dev/null | awk '$2 == "T" && /trueonset_/ { print $3 }' >"$work/exports"
        # shellcheck disable=SC2046,SC2086 # words on purpose
        $linker --gc-sections -e trueonset_config $(sed 's/^/-u /' "$work/exports") "$library" -o "$work/exports.elf" >"$work/proof.log" 2>&1 || return 1
    done
}
