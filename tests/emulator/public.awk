# Names of the public functions in Rust files, one a line: those of tests and of the feature `walk` left out.
FNR == 1 { tests = walk = 0 }
/^#\[cfg\(test\)\]/ { tests = 1 }
/^ *#\[cfg\(feature = "walk"\)\]/ { walk = /^#/ ? 2 : 1; next }
walk == 2 && /^}/ { walk = 0 }
!tests && !walk && match($0, /^ *pub (const )?(async )?fn [a-z_0-9]+/) {
    name = substr($0, RSTART, RLENGTH)
    sub(/.* /, "", name)
    print name
}
walk == 1 && /fn / { walk = 0 }
