# Reports in a browser. Part of tests/run.
# shellcheck shell=bash

# look FOLDER: opens the reports in FOLDER at desk and phone width, light and dark, all in one browser; writes what
# they and the console say to FOLDER/told.
look() {
    local report name pages="" scheme
    rm -rf "$1/seen"
    mkdir -p "$1/seen"
    for report in "$1"/*.html; do
        name=$(basename "$report")
        grep -qF '</body>' "$report" || die "$name ends without </body>"
        awk -v script="$root/tests/browser/look.js" '/<\/body>/ { print "<script>"; while ((getline line < script) > 0) print line; print "</script>" } 1' \
            "$report" >"$1/seen/$name"
        pages+="<iframe class=\"phone\" src=\"$name\"></iframe><iframe class=\"desk\" src=\"$name\"></iframe>"
    done
    awk -v pages="$pages" '{ sub(/<!-- pages -->/, pages) } 1' "$root/tests/browser/frame.html" >"$1/seen/frame.html"
    : >"$1/told"
    # The colours that the page is told are preferred: 1 light, 0 dark.
    for scheme in 1 0; do
        timeout 300 chromium --headless --no-sandbox --disable-gpu --disable-dev-shm-usage --hide-scrollbars \
            --user-data-dir="$1/seen/profile" --enable-logging=stderr --blink-settings=preferredColorScheme=$scheme \
            --virtual-time-budget=20000 --dump-dom "file://$1/seen/frame.html" >"$1/seen/dom.$scheme" 2>"$1/seen/log.$scheme" ||
            { tail -n 20 "$1/seen/log.$scheme" >&2; die "chromium failed"; }
        grep -o '<p>[^<]*' "$1/seen/dom.$scheme" | sed 's/^<p>//' >>"$1/told"
        grep ':CONSOLE' "$1/seen/log.$scheme" | sed 's/^/wrong console /' >>"$1/told" || true
    done
}

# seed NAME COMMAND...: the report of the demo as NAME, with a fault put in by COMMAND.
seed() {
    local name=$1
    shift
    "$@" <"$work/browser/reports/demo.html" >"$work/browser/seeded/$name.html"
    if cmp -s "$work/browser/reports/demo.html" "$work/browser/seeded/$name.html"; then
        die "the fault \`$name\` could not be put into the report"
    fi
}

# found NAME WORDS: a fault in that report is found with these words.
found() {
    local told
    told=$(grep -F "$1.html" "$work/browser/seeded/told" | grep "^wrong.*$2") ||
        { cat "$work/browser/seeded/told" >&2; die "the fault \`$1\` was not found: this step proves nothing"; }
    told=${told%%$'\n'*}
    say "fault found: ${told:0:110}"
}

# Every report in a browser. Its pictures are told, nothing overflows, overlaps, is cut off or pale, the console is silent.
step_browser() {
    local program=$programs/trueonset dir=$work/browser/reports one wanted status name
    have chromium || install chromium
    build_programs
    rm -rf "$work/browser"
    mkdir -p "$dir"
    cd "$work/browser"
    # A verdict may be no; what counts here is the page.
    page() { "$program" "$@" >made.log 2>&1 || [ $? = 1 ] || [ "$2" = "$plan" ] || { cat made.log >&2; die "no report of $1"; }; }
    local scenarios=$root/examples/scenarios plan=$root/examples/gauge/whole-or-broken.toml
    page demo --out demo
    cp demo/report.html "$dir/demo.html"
    page replay demo/edges.csv --config demo/replay.toml --report "$dir/replay.html"
    page replay demo/light.csv --config demo/light.toml --report "$dir/replay-light.html"
    page sweep "$scenarios/fine-length-probe.toml" --vary approach.feed=60mm/min,300mm/min,1000mm/min --vary barrier.snr=40dB,60dB --trials 100 --report "$dir/sweep.html"
    page sweep "$scenarios/wireless-probe.toml" --vary link.loss=1%,30% --vary link.burst=1.5,5 --trials 20 --report "$dir/sweep-air.html"
    page tune demo/edges.csv --report "$dir/tune.html"
    page tune demo/light.csv --truth demo/light_truth.csv --report "$dir/tune-light.html"
    page check demo/edges.csv --expect demo/touches.csv --report "$dir/check.html"
    page check demo/edges.csv --expect demo/touches.csv --hold 20us --report "$dir/check-wrong.html"
    page advise "$scenarios/fine-probe-wired.toml" --tolerance 0.4um --overtravel 1mm --touches 2000 --report "$dir/advise.html"
    page advise "$scenarios/fine-probe-wired.toml" --tolerance 0.4um --overtravel 1nm --report "$dir/advise-none.html"
    for one in whole broken link-lost; do
        page gauge "$plan" "$root/examples/gauge/$one.csv" --report "$dir/gauge-$one.html"
    done
    # A verb with --report that is not opened here is a hole in this step.
    for one in $("$program" --help | awk '/^Commands:/ { on = 1; next } /^$/ { on = 0 } on { print $1 }'); do
        "$program" "$one" --help 2>/dev/null | grep -q -- '--report' && { ls "$dir/$one"*.html >/dev/null 2>&1 || die "no report of $one is looked at"; }
    done
    look "$dir"
    # Seen means that the script ran at the width and in the colours meant.
    for one in "$dir"/*.html; do
        name=$(basename "$one")
        for wanted in "360 light" "1280 light" "360 dark" "1280 dark"; do
            grep -qx "seen $name $wanted" "$dir/told" || { cat "$dir/told" >&2; die "$name was not seen at $wanted"; }
        done
        [ "$(wc -c <"$one")" -lt 1000000 ] || die "$name has a megabyte or more"
        grep -q 'easuring signal, not a safety function; prove each program at reduced feed with the tool clear; guards and emergency stop stay in charge' "$one" ||
            die "$name lacks its caution"
    done
    ! grep '^wrong' "$dir/told" >&2 || die "a report is not as it should be"
    say "$(ls "$dir"/*.html | wc -l) reports at 360 and 1280 px, light and dark: nothing wrong; the largest has $(wc -c "$dir"/*.html | sort -n | tail -n 2 | awk 'NR == 1 { print $1 }') bytes"
    # Each thing that is looked for must be found where it is.
    mkdir -p "$work/browser/seeded"
    seed console sed 's#</body>#<script>console.error("seeded-message")</script></body>#'
    seed script sed 's#</body>#<script>no_such_function()</script></body>#'
    seed wide sed 's#</main>#<div style="width: 1500px">wide</div></main>#'
    seed title sed 's#<title id="s0-t">[^<]*</title>##'
    seed desc sed 's#<desc id="s0-d">[^<]*</desc>#<desc id="s0-d"></desc>#'
    seed twice sed 's#</desc>#</desc><text x="90" y="90">one label</text><text x="95" y="92">upon another</text>#'
    seed rim sed 's#</desc>#</desc><text x="700" y="90">cut off at the rim</text>#'
    seed pale sed 's#--soft: \#[0-9a-f]*#--soft: \#eeeeee#'
    look "$work/browser/seeded"
    found console seeded-message
    found script Uncaught
    found wide 'overflow: '
    found title 'without title or description'
    found desc 'without title or description'
    found twice 'overlap in'
    found rim 'clipped in'
    found pale 'contrast 1'
}
