# Both sides of a probe on emulated boards. Part of tests/run.
# shellcheck shell=bash

# Writes how long the passes of the images are into examples/firmware/PASSES.md; the program has held them to what it
# makes each pass take.
passes() {
    local file=examples/firmware/PASSES.md
    {
        printf '# How long a pass takes\n\n'
        printf 'Written by `tests/run system`, not by hand: instructions from the first look at the counter to the sleep, those for the\n'
        printf 'log and the UART of the emulated board included; `--profile small`, head on the M0, the others on the M3. A long pass is\n'
        printf 'the longest, of head the longest but for two in a thousand: where a queue full of edges makes one longer, a frame is\n'
        printf 'left out. A clock for one instruction a cycle: a core that takes more, as an M0 does and flash with wait states, needs\n'
        printf 'so much more.\n\n'
        printf '| image | longest | a long pass | must fit into, µs | least clock, MHz | with a look at the cells |\n|---|---|---|---|---|---|\n'
        awk '$1 == "pass" { line = $2 " | " $3 " | " $4 " | " $5 " | " $6 " | " $7; if ($3 > longest[$2]) { longest[$2] = $3; said[$2] = line } }
            END { for (image in said) print "| " said[image] " |" }' "$work/system/said" | sort
    } >"$work/passes.md"
    diff "$file" "$work/passes.md" || say "$file has changed, see above"
    cp "$work/passes.md" "$file"
}

# course NAME NUMBER: a course of the emulated boards. They speak a byte at a time: on one processor, where who is spoken
# to need not wake before all is said, a course takes a third less of it.
course() {
    local apart=(taskset -c $(($2 % $(nproc))) chrt --batch 0)
    "${apart[@]}" true 2>/dev/null || apart=()
    timeout 1200 ${apart[@]+"${apart[@]}"} "$programs/boards" "$target/firmware" . "$seed" "$target/qcount/release/libqcount.so" "$1"
}

# Both sides of a probe on emulated boards, this machine their clock and the air between them.
step_system() {
    local seed courses
    profile=--profile=small images_all --bin head --bin board --bin wired
    arm=(thumbv7m-none-eabi)
    profile=--profile=small images --bin board_async --features async
    profile=--profile=small images --bin board_rtic --features rtic
    build_programs
    rm -rf "$work/system"
    mkdir -p "$work/system"
    (cd tests/emulator/qcount && CARGO_TARGET_DIR=$target/qcount cargo build -q --release)
    seed=${SEED:-$(od -An -N3 -tu4 /dev/urandom | tr -d ' ')}
    say "touches, troubles and air drawn now: SEED=$seed"
    cd "$work/system"
    "$programs/boards" courses | awk '{ print $1, "course", $1, NR }' >courses
    mapfile -t courses <courses
    # Two for each processor: each waits for its boards now and then.
    beside $((2 * $(nproc))) "${courses[@]}" | tee said
    cd "$root"
    passes
    # What the board has logged is what it did.
    (cd tests/emulator/deflog && CARGO_TARGET_DIR=$target/deflog cargo build -q)
    local name image log=$work/system
    for image in "board thumbv7m-none-eabi/small/board" "board_rv32 $riscv/small/board" \
        "board_async thumbv7m-none-eabi/small/board_async" "board_rtic thumbv7m-none-eabi/small/board_rtic" \
        "foreign_lm3s6965evb thumbv7m-none-eabi/small/board" \
        "foreign_mps2-an386 thumbv7em-none-eabihf/small/board" "foreign_virt $riscv/small/board" \
        "foreign_board_async thumbv7m-none-eabi/small/board_async" "foreign_board_rtic thumbv7m-none-eabi/small/board_rtic"; do
        read -r name image <<<"$image"
        "$target/deflog/debug/deflog" "$target/firmware/$image" <"$log/$name/$name.log" >"$log/$name/records"
        cmp "$log/$name/records" "$log/$name/$name.expected" || die "the log of $name is not that of the simulation"
        say "the log of $name, decoded: $(wc -l <"$log/$name/records") records, equal to the simulation's"
    done
}
