# Flash, RAM, stack and lines of the images. Part of tests/run.
# shellcheck shell=bash

# The board in its other shells, and with $1 as more features.
shells() {
    local arm=(thumbv7m-none-eabi)
    profile=--profile=small images --bin board_async --features "async${1:-}"
    profile=--profile=small images --bin board_rtic --features "rtic${1:-}"
}

# Lines of an image of the M3 that are neither blank nor comment, of all its own modules but the shims.
own_lines() {
    tr ' ' '\n' <"$target/firmware/thumbv7m-none-eabi/small/$1.d" | grep "^$root/examples/firmware/src/.*\.rs$" |
        grep -v /src/machine/ | sort -u | xargs -d '\n' cat | grep -cvE '^\s*(//.*)?$'
}

# Code, data and zeroed data of an image. The startup for RISC-V makes the rest of the RAM a section of its own.
sizes() {
    local text data bss stack
    read -r text data bss < <(arm-none-eabi-size "$1" | awk 'NR == 2 { print $1, $2, $3 }')
    stack=$(arm-none-eabi-size -A "$1" | awk '$1 == ".stack" { print $2 }')
    printf '%d %d %d\n' "$text" "$data" $((bss - ${stack:-0}))
}

# Writes what the images need, held to their limits, into examples/firmware/BUDGET.md.
budget() {
    local image flash ram board triple machine text data bss deepest broken=0 dir budget=examples/firmware/BUDGET.md
    local -A still=() most=([head]=2048 [board]=3072 [wired]=2048)
    profile=--profile=small images --bin head --bin board --bin wired
    (
        arm=(thumbv7m-none-eabi)
        profile=--profile=small images --bin rig
    )
    shells
    build_programs
    (
        arm=(thumbv6m-none-eabi)
        profile=--profile=small images --bin entries
    )
    dir=$target/firmware/thumbv6m-none-eabi/small
    {
        printf '# What the images need\n\n'
        printf 'Written by `tests/run proof`, not by hand; `--profile small`, %s. ' "$("$compiler" --version)"
        printf 'The emulated board behind its UART, which a HAL takes the place of, is part of every image.\n\n'
        printf '| image | board | flash, B | limit | RAM without stack, B | limit |\n|---|---|---|---|---|---|\n'
    } >"$work/budget.md"
    for line in "head 16384 2048" "board 24576 3072" "wired 16384 2048" "board_async 24576 3072" "board_rtic 24576 3072"; do
        read -r image flash ram <<<"$line"
        for line in "${boards[@]}"; do
            read -r board triple machine <<<"$line"
            # The shells of the board are for the M3.
            [ -e "$target/firmware/$triple/small/$image" ] || continue
            read -r text data bss < <(sizes "$target/firmware/$triple/small/$image")
            [ "$board" = M0 ] && still[$image]=$((data + bss))
            # Code for RISC-V is longer: held to what has been reached.
            [ "$board" = RV32 ] && flash=$((flash * 5 / 4))
            printf '| %s | %s | %d | %d | %d | %d |\n' "$image" "$board" $((text + data)) "$flash" $((data + bss)) "$ram" >>"$work/budget.md"
            [ $((text + data)) -lt "$flash" ] && [ $((data + bss)) -lt "$ram" ] || broken=1
        done
    done
    {
        printf '\nStack at worst on the M0, out of the call graph and the frames that the compiler tells of, and all RAM with\n'
        printf 'it:\n\n'
        printf '| image | main loop, B | an interrupt above it, B | deepest entry not made part of its caller, B | held to | all RAM, B | limit |\n'
        printf '|---|---|---|---|---|---|---|\n'
    } >>"$work/budget.md"
    for image in head board wired; do
        arm-none-eabi-objdump -dC "$dir/$image" >"$work/$image.dis"
        arm-none-eabi-objcopy --dump-section .stack_sizes="$work/$image.sizes" "$dir/$image" /dev/null
        "$programs/stack_depth" "$work/$image.dis" "$work/$image.sizes" >"$work/$image.depth" || die "no bound for the stack of $image"
        # Of a board held to what has been reached: it is the frame of a receiver.
        deepest=511
        [ "$image" = board ] && deepest=543
        awk -v image="$image" -v most="$deepest" -v still="${still[$image]}" -v ram="${most[$image]}" '{ depth[$1] = $2 } END {
            all = still + depth["main"] + depth["interrupt"]
            printf "| %s | %d | %d | %d | %d | %d | %d |\n", image, depth["main"], depth["interrupt"], depth["entry"], most, all, ram
            exit depth["entry"] > most || all > ram }' "$work/$image.depth" >>"$work/budget.md" || broken=1
    done
    {
        printf '\nStack of single entries at worst on the M0, each in a function of its own, without the room for what it gives\n'
        printf 'back, which is its caller'"'"'s; two held to what has been reached:\n\n| entry | stack, B | held to |\n|---|---|---|\n'
        arm-none-eabi-objdump -dC "$dir/entries" >"$work/entries.dis"
        arm-none-eabi-objcopy --dump-section .stack_sizes="$work/entries.sizes" "$dir/entries" /dev/null
        "$programs/stack_depth" "$work/entries.dis" "$work/entries.sizes" | awk '
            BEGIN { reached["calibrator_solve"] = 919; reached["receiver_frame"] = 735 }
            { most = $1 in reached ? reached[$1] : 511; printf "| %s | %d | %d |\n", $1, $2, most; broken += $2 > most }
            END { exit broken > 0 }'
    } >>"$work/budget.md" || broken=1
    grep -q '^| receiver_frame | [1-9]' "$work/budget.md" || die "no bound for the stack of the entries"
    {
        printf '\nLines of code of all own modules, of which it is said beside them what to change for a real board; without blank\n'
        printf 'lines, comments and the shims in `machine` (registers, log), but with what images share in each of them:\n\n'
        printf '| image | lines | below |\n|---|---|---|\n'
    } >>"$work/budget.md"
    for image in head board wired board_async board_rtic rig; do
        text=$(own_lines $image)
        printf '| %s | %d | 150 |\n' $image "$text" >>"$work/budget.md"
        [ "$text" -gt 0 ] && [ "$text" -lt 150 ] || broken=1
    done
    cat "$work/budget.md"
    # The polls are the work of the step `count`.
    { cat "$work/budget.md"; sed -n '/^# Polls/,$p' "$budget" | sed '1s/^/\n/'; } >"$work/whole.md"
    # Whoever changes what an image needs sees it.
    diff "$budget" "$work/whole.md" || say "$budget has changed, see above"
    cp "$work/whole.md" "$budget"
    [ $broken = 0 ] || die "an image is above its limit"
}
