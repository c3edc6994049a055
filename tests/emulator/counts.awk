# Table of the `count` image's output; fails where a limit is broken or a count is missing.
# Variables: board, and the limits mean, worst (an edge), touch, frame (mean), most_frame, quiet (worst), check (0 or none: none stated).
# Each `#count N` of the plugin is followed by the image's word for what was counted.
/^#count / { if (pending != "") broken("count " pending " without a word"); pending = $2; next }
/^state / { state = $2; next }
/^barrier / { barrier = $2; next }
/^receiver / { receiver = $2; next }
/^check_state / { check_state = $2; next }
{
    if (pending == "") broken("`" $0 "` without a count")
    n[$1]++; sum[$1] += pending
    if (pending + 0 > most[$1]) most[$1] = pending + 0
    if ($1 == "edge" && ($2 < fewest || !fewest)) fewest = $2
    pending = ""
}
function broken(why) { print "    FAIL " board ": " why; bad = 1 }
function row(word, name) {
    if (!n[word]) { broken("no count of: " name); return }
    printf "    %-3s %-32s %6d x  mean %7.1f  worst %5d\n", board, name, n[word], sum[word] / n[word], most[word]
}
END {
    if (pending != "") broken("count " pending " without a word")
    row("edge", "edge, whole shipped path")
    row("bare", "edge, bare balance + CUSUM")
    row("touch", "touch, the confirming poll")
    row("release", "release, the confirming poll")
    row("idle", "sample, at rest")
    row("area", "sample, in the zones, area")
    row("matched", "sample, in the zones, matched")
    row("joins", "frame, while the link joins")
    row("frame", "frame, of a live link")
    row("quiet", "poll, nothing happens")
    row("leaves", "poll, an edge leaves")
    printf "    %-3s state of a receiver %d B\n", board, receiver
    row("check", "check for breakage, one step")
    printf "    %-3s state of a barrier %d B\n", board, barrier
    printf "    %-3s state of a line %d B\n", board, state
    printf "    %-3s state of a check %d B\n", board, check_state
    if (check && most["check"] > check) broken("step of a check above " check)
    if (fewest < 50) broken("an episode of fewer than 50 edges: " fewest)
    if (n["edge"] && sum["edge"] / n["edge"] > mean) broken("edge mean above " mean)
    if (most["edge"] > worst) broken("edge worst above " worst)
    if (touch && most["touch"] > touch) broken("touch above " touch)
    if (idle && sum["idle"] / n["idle"] > idle) broken("sample at rest above " idle)
    if (area && sum["area"] / n["area"] > area) broken("sample by area above " area)
    if (matched && sum["matched"] / n["matched"] > matched) broken("matched sample above " matched)
    if (frame && n["frame"] && sum["frame"] / n["frame"] > frame) broken("mean frame of a live link above " frame)
    if (most_frame && most["frame"] > most_frame) broken("frame above " most_frame)
    if (quiet && most["quiet"] > quiet) broken("quiet poll of a link above " quiet)
    if (!state || state > 128) broken("state of a line above 128 B")
    exit bad
}
