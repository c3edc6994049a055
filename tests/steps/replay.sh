# Logs and operations: the same on the PC and on every board; what a board refuses. Part of tests/run.
# shellcheck shell=bash

# A log and options for the PC, and later for every board.
same() {
    local log=$1 hold_ns=$2 touched=$3 name="${1%.csv}-$2-$3"
    "$programs/trueonset" replay "$log" --csv --hold "${hold_ns}ns" --touched "$touched" --bandwidth 100kHz >"$name.pc" 2>pc.log ||
        { cat pc.log >&2; die "the PC could not replay $log"; }
    printf '%s\n' "$log $hold_ns $touched $name" >>cases
}

# same_on BOARD TARGET MACHINE: the cases on a board, with the same options.
same_on() {
    local log hold_ns touched name logs=0
    while read -r log hold_ns touched name <&3; do
        emulate "$3" "$target/firmware/$2/release/replay" -- replay "../$log" "$name" \
            --hold-ns "$hold_ns" --touched "$touched" >board.log 2>&1 || { cat board.log >&2; die "$1 could not replay $log"; }
        cmp "../$name.pc" "$name" || die "$1 and PC differ on $log"
        logs=$((logs + 1))
    done 3<../cases
    say "$1: $logs replays equal to those on the PC"
}

step_replay() {
    local seed recording name log hold touched
    images_all --bin replay --bin ops
    build_programs
    rm -rf "$work/replay"
    mkdir -p "$work/replay"
    cd "$work/replay"
    for recording in "$root"/tests/data/recordings/*.vcd; do
        name=$(basename "$recording" .vcd)
        "$programs/trueonset" convert "$recording" "$name.csv" 2>convert.log || { cat convert.log >&2; die "convert failed"; }
        same "$name.csv" 1000000 high
        same "$name.csv" 200000 low
    done
    "$programs/trueonset" demo --out demo >demo.log 2>&1 || { cat demo.log >&2; die "demo failed"; }
    cp demo/edges.csv demo.csv
    same demo.csv 1000000 high
    seed=${SEED:-$(od -An -N4 -tu4 /dev/urandom | tr -d ' ')}
    say "logs drawn now, after the images were built: SEED=$seed"
    for draw in 0 1 2; do
        "$programs/draw_log" $((seed + draw)) >drawn$draw.csv
        same drawn$draw.csv 1000000 high
        same drawn$draw.csv 200000 low
    done
    while read -r log hold touched name; do
        say "$log, hold $hold ns, touched $touched: $(($(wc -l <"$name.pc") - 1)) touches"
    done <cases
    on_boards same_on
    operations "$seed"
}

# A million drawn operations from a seed: their running digest on the PC and on every board.
operations() {
    local seed=$1 line board triple machine
    # A minute of work in all: the boards work side by side.
    for line in "${boards[@]}"; do
        read -r board triple machine <<<"$line"
        patience=1800 emulate "$machine" "$target/firmware/$triple/release/ops" -- ops "$seed" 1000000 >"$board.ops" 2>"$board.log" &
    done
    "$programs/operations" "$seed" 1000000 >pc.ops
    wait
    for line in "${boards[@]}"; do
        read -r board triple machine <<<"$line"
        diff pc.ops "$board.ops" >&2 || { cat "$board.log" >&2; die "$board and PC differ in the operations of SEED=$seed"; }
    done
    say "1000000 drawn operations, SEED=$seed: digest $(tail -n 1 pc.ops | cut -d ' ' -f 2), equal on PC, M0, M3, M4F and RV32"
    # It must be able to fail: one operation that is another on the board is seen.
    emulate microbit "$target/firmware/thumbv6m-none-eabi/release/ops" -- ops "$seed" 20000 19000 >changed.ops 2>board.log || { cat board.log >&2; die "M0 could not do a changed operation"; }
    "$programs/operations" "$seed" 20000 >pc.ops
    if cmp -s pc.ops changed.ops; then
        die "a changed operation leaves the digest as it is: it proves nothing"
    fi
}

# refused NAME TEXT WORDS [TOUCH]: a log with TEXT ends with 2 on the `board`, a message with WORDS, and the touch before it.
refused() {
    printf '%b' "$2" >"$1.csv"
    rm -f board.csv
    ends_with_2 "$1" "$1.csv" board.csv
    grep -qF -- "$3" board.log || { cat board.log >&2; die "$board on $1: message lacks: $3"; }
    [ -z "${4:-}" ] || grep -q "$4" board.csv || { cat board.csv >&2; die "$board on $1: the touches before the damage are missing"; }
    say "$board, $1: $(grep -a '^error' board.log)"
}

# ends_with_2 CASE ARG..: so does the image `replay` with these arguments.
ends_with_2() {
    local case=$1 status=0
    shift
    emulate "$machine" "$target/firmware/$triple/release/replay" -- replay "$@" >board.log 2>&1 || status=$?
    [ $status = 2 ] || { cat board.log >&2; die "$board on $case: exit status $status instead of 2"; }
}

# refusals BOARD TARGET MACHINE: what a board refuses.
refusals() {
    local board=$1 triple=$2 machine=$3 good='time_ns,line,level\n0,beam,0\n1000000,beam,1\n9000000,beam,1\n' nine='' line
    refused header 'a,b\n0,1\n' 'header.csv:1: found `a,b`, expected the header'
    refused empty '' 'empty.csv:1: found nothing'
    refused fields "${good}9500000,beam\n" 'fields.csv:5: found `9500000,beam`, expected three fields' '^beam,1000000,'
    refused time "${good}soon,beam,1\n" 'time.csv:5: found `soon`, expected whole nanoseconds' '^beam,1000000,'
    refused range "${good}9223372036854775808,beam,1\n" 'range.csv:5: found `9223372036854775808`' '^beam,1000000,'
    refused level "${good}9500000,beam,2\n" 'level.csv:5: found `2`, expected the level' '^beam,1000000,'
    refused name "${good}9500000,,1\n" 'name.csv:5: found nothing, expected a line name' '^beam,1000000,'
    refused long "${good}$(printf '9%.0s' {1..200})\n" 'long.csv:5: found' '^beam,1000000,'
    for line in {1..8}; do nine+="0,l$line,0\n"; done
    refused lines "$good$nine" 'lines.csv:12: found a ninth line' '^beam,1000000,'
    ends_with_2 "a missing log" missing.csv o.csv
    ends_with_2 "a hold of nothing" header.csv o.csv --hold-ns 0
}

step_refuse() {
    images_all --bin replay
    rm -rf "$work/refuse"
    mkdir -p "$work/refuse"
    cd "$work/refuse"
    on_boards refusals
}
