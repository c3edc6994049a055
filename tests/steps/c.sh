# The library for C. Part of tests/run.
# shellcheck shell=bash

# The library for C: its header as the generator makes it, and a program in C with the bytes of the PC.
step_c() {
    local seed c=$root/examples/firmware/c-abi own=$root/tests/emulator/rv32 line board triple machine log name flags cpu
    images_all -p trueonset-c
    (cd examples/firmware && CARGO_TARGET_DIR=$target/c-native cargo build -q --release -p trueonset-c)
    build_programs
    rm -rf "$work/c"
    mkdir -p "$work/c"
    cd "$work/c"
    (cd "$c" && cbindgen --quiet --config cbindgen.toml --output "$work/c/trueonset.h" .)
    diff -u "$c/trueonset.h" trueonset.h || die "the header is not what $(cbindgen --version) makes of the library"
    flags=(-std=c11 -Wall -Wextra -Werror -ffunction-sections -fdata-sections -Wl,--gc-sections,-z,noexecstack "-I$c")
    declare -A source=([replay]=$c/replay.c [misuse]=$root/tests/emulator/c_misuse.c)
    for name in replay misuse; do
        cc -O2 "${flags[@]}" "${source[$name]}" "$target/c-native/release/libtrueonset_c.a" -o $name
    done
    ./misuse || die "misuse in C is not refused here: $?"
    printf '#include "trueonset.h"\nint main() { return !TRUEONSET_FITS(); }\n' >plain.cpp
    g++ -std=c++17 -Wall -Wextra -Werror "-I$c" plain.cpp "$target/c-native/release/libtrueonset_c.a" -Wl,--gc-sections -o plain
    ./plain || die "the header does not go with the library in C++"
    printf '#pragma pack(1)\n' | cat - plain.cpp >packed.cpp
    g++ -std=c++17 "-I$c" packed.cpp "$target/c-native/release/libtrueonset_c.a" -Wl,--gc-sections -o packed
    if ./packed; then die "structs that a compiler packs pass for those of the library"; fi
    for name in "--hold-ns -1" "--bandwidth-hz 4294967296" "--bandwidth-hz +5" "--hold-ns 18446744073709551616" "--hold-ns "; do
        printf 'time_ns,line,level\n0,beam,0\n' >short
        # shellcheck disable=SC2086 # words on purpose
        ./replay short none $name >refused.log 2>&1 && die "the program in C takes $name"
        grep -q -- "^error: ${name% *}: .* expected --hold-ns 1 to 2147483647, --bandwidth-hz 0 to 4294967295" refused.log ||
            { cat refused.log >&2; die "the program in C does not say what is wrong with $name"; }
    done
    mkdir rv32
    for name in errno stdio stdlib string; do printf '#include "rv32.h"\n' >rv32/$name.h; done
    for line in "${boards[@]}"; do
        read -r board triple machine <<<"$line"
        local arms=(arm-none-eabi-gcc -mthumb -nostartfiles --specs=rdimon.specs -T "$c/board/board.ld" "$c/board/startup.c")
        case $board in
            M0) cpu=("${arms[@]}" -mcpu=cortex-m0) ;;
            M3) cpu=("${arms[@]}" -mcpu=cortex-m3) ;;
            M4F) cpu=("${arms[@]}" -mcpu=cortex-m4 -mfloat-abi=hard -mfpu=fpv4-sp-d16) ;;
            *) cpu=(riscv64-unknown-elf-gcc -march=rv32imac -mabi=ilp32 -ffreestanding -nostdlib -Irv32 "-I$own" \
                -T "$own/rv32.ld" -Wl,--no-warn-rwx-segments "$own/rv32.c") ;;
        esac
        for name in replay misuse; do
            "${cpu[@]}" -Os "${flags[@]}" "${source[$name]}" "$target/firmware/$triple/release/libtrueonset_c.a" -lgcc -o "$name.$board"
        done
        emulate "$machine" "misuse.$board" -- misuse >board.log 2>&1 || { cat board.log >&2; die "misuse in C is not refused on $board"; }
        say "$board: $(grep misuse board.log)"
    done
    arm-none-eabi-size replay.M* replay.RV32
    seed=${SEED:-$(od -An -N4 -tu4 /dev/urandom | tr -d ' ')}
    "$programs/draw_log" "$seed" >drawn.csv
    for log in "$root"/tests/data/recordings/*.vcd; do
        "$programs/trueonset" convert "$log" "$(basename "$log" .vcd).csv" 2>convert.log || { cat convert.log >&2; die "convert failed"; }
    done
    printf 'time_ns,line,level\n0,beam,0\n1000000,beam,1\n9000000,beam,1\nsoon,beam,1\n' >damaged
    for log in *.csv; do
        "$programs/trueonset" replay "$log" --csv --hold 200us --touched low --bandwidth 100kHz >pc 2>pc.log || { cat pc.log >&2; die "the PC could not replay $log"; }
        ./replay "$log" here --hold-ns 200000 --touched low || die "the program in C could not replay $log here"
        cmp pc here || die "C and PC differ on $log, SEED=$seed"
        for line in "${boards[@]}"; do
            read -r board triple machine <<<"$line"
            rm -f there
            emulate "$machine" "replay.$board" -- replay "$log" there --hold-ns 200000 --touched low >board.log 2>&1 || { cat board.log >&2; die "C on $board could not replay $log, SEED=$seed"; }
            cmp pc there || die "C on $board and PC differ on $log, SEED=$seed"
        done
        say "$log: $(($(wc -l <pc) - 1)) touches, equal in C here, on M0, M3, M4F and RV32"
    done
    local status=0
    emulate microbit replay.M0 -- replay damaged there >board.log 2>&1 || status=$?
    [ $status = 2 ] && grep -F 'damaged:5: found another time' board.log && grep -q '^beam,1000000,' there ||
        { cat board.log >&2; die "a damaged log in C: exit status $status, or message or touches are missing"; }
}
