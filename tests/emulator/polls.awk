# Table of the `debouncers` image's output, for BUDGET.md; fails where a limit is broken or a count is
# missing. Each `#count N` of the plugin is followed by: name, phase, bytes of state, whether it keeps
# time, what the poll gave back. `over` is the limit of a quiet poll of ours above the floor.
/^#count / { if (pending != "") broken("count " pending " without a word"); pending = $2 - 1; next }
NF == 5 {
    if (pending == "") broken("`" $0 "` without a count")
    # The call itself is not counted.
    if (!($1 in state)) names[++count] = $1
    state[$1] = $3
    timed[$1] = $4
    at = $1 " " $2
    if (!(at in least) || pending < least[at]) least[at] = pending
    if (pending > most[at]) most[at] = pending
    if ($2 != "toggling" && $5 == 1) rises[$1]++
    pending = ""
}
function broken(why) { print "FAIL polls: " why > "/dev/stderr"; bad = 1 }
function range(at) { return least[at] == most[at] ? most[at] : least[at] " to " most[at] }
END {
    if (pending != "") broken("count " pending " without a word")
    if (count != 11) broken("found " count " debouncers, expected 11")
    floor = most["floor quiet"]
    print "| what | keeps time | quiet | quiet over the floor | toggling | worst | state, B |\n|---|---|---|---|---|---|---|"
    for (one = 1; one <= count; one++) {
        name = names[one]
        worst = 0
        for (at in most) if (index(at, name " ") == 1 && most[at] > worst) worst = most[at]
        shown = name
        gsub("_", " ", shown)
        printf "| %s | %s | %s | %d | %s | %d | %d |\n", shown, timed[name] ? "yes" : "no", range(name " quiet"), most[name " quiet"] - floor, range(name " toggling"), worst, state[name]
        if (name != "floor" && rises[name] != 1) broken(name " found " rises[name] + 0 " rises of one")
        if (timed[name] && name !~ /^trueonset/ && most[name " quiet"] <= most["trueonset quiet"]) broken(name " is not above ours")
    }
    if (most["trueonset quiet"] - floor > over) broken("our quiet poll is more than " over " above the floor")
    exit bad
}
