# Devices that run the library, tested by `trueonset rig`. Part of tests/run.
# shellcheck shell=bash

# tested STATUS KIND LOST CHANGED ADDED CUT -- ARG...: `trueonset rig ARG...` against the image on the
# `board`, over a line that is so bad (see noisy_line), must end with STATUS.
tested() {
    local status=0 wanted=$1 kind=$2 lost=$3 changed=$4 added=$5 cut=$6
    shift 7
    seed=$((seed + 1))
    "$programs/noisy_line" "$kind" "$lost" "$changed" "$added" "$seed" "$cut" \
        $(emulator "$machine") -nographic -monitor none -semihosting-config enable=on,target=native \
        -serial tcp:{},nodelay=on -kernel "$target/firmware/$triple/release/rig" \
        -- "$programs/trueonset" rig --port {} "$@" >rig.csv 2>rig.log || status=$?
    [ $status = "$wanted" ] || { cat rig.log >&2; die "rig on $board by $kind: exit status $status instead of $wanted, SEED=$seed"; }
}

# rig_on BOARD TARGET MACHINE NAME KIND SEED: equal on the recording of that name over a bad line.
rig_on() {
    local board=$1 triple=$2 machine=$3 name=$4 kind=$5 seed=$6
    tested 0 "$kind" 200 200 100 0 -- "$root/tests/data/recordings/$name.vcd" --csv --touched low --hold 200us
    cmp "../$name.pc" rig.csv || die "device and PC differ on $name"
    say "$name, $board by $kind: $(grep differences rig.log)"
    grep '^note: the line' rig.log || true
}

# What a device sends comes back to it.
looped() {
    local board=$1 triple=$2 machine=$3 seed=$4
    tested 2 loop 0 0 0 0 -- "$root/tests/data/recordings/rc-433mhz-8s.vcd" --patience 5s
    grep '^error: .*the device hears answers' rig.log || die "a loop: $(cat rig.log)"
}

# unfit BOARD TARGET MACHINE: nobody answers; only garbage comes; the device stops in the middle.
unfit() {
    local board=$1 triple=$2 machine=$3 recording=$root/tests/data/recordings/rc-433mhz-8s.vcd
    tested 2 tcp 0 0 0 1 -- "$recording" --patience 5s
    grep '^error: .* an answer to HELLO' rig.log || die "silence: $(cat rig.log)"
    tested 2 pty 0 500000 0 0 -- "$recording" --patience 5s
    grep '^error: .* that are no answer' rig.log || die "garbage: $(cat rig.log)"
    tested 2 pty 0 0 0 20000 -- "$recording" --patience 5s --touched low --hold 200us --csv
    grep '^error: .* an answer to row .* has stopped' rig.log || die "a device that stops: $(cat rig.log)"
    [ "$(wc -l <rig.csv)" -gt 1 ] || die "a device that stops: the touches before are missing"
}

# The image `rig` on every board: equal on all recordings over bad lines; what cannot be tested ends with 2.
step_rig() {
    local seed recording name line kind=tcp tests=()
    images_all --bin rig
    build_programs
    rm -rf "$work/rig"
    mkdir -p "$work/rig"
    cd "$work/rig"
    seed=${SEED:-$(od -An -N3 -tu4 /dev/urandom | tr -d ' ')}
    say "of a million bytes 200 lost, 200 changed, 100 added, each way: SEED=$seed"
    for recording in "$root"/tests/data/recordings/*.vcd; do
        name=$(basename "$recording" .vcd)
        "$programs/trueonset" replay "$recording" --csv --touched low --hold 200us >"$name.pc" 2>pc.log || { cat pc.log >&2; die "replay failed"; }
        for line in "${boards[@]}"; do
            tests+=("$name-${line%% *} rig_on $line $name $kind $((seed + ${#tests[@]}))")
            [ $kind = tcp ] && kind=pty || kind=tcp
        done
    done
    for line in "${boards[@]}"; do
        tests+=("loop-${line%% *} looped $line $((seed + ${#tests[@]}))")
    done
    tests+=("unfit unfit ${boards[0]}")
    # All at once: they mostly wait for what the line has lost.
    beside ${#tests[@]} "${tests[@]}"
}
