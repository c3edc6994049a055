use crate::log::tests::{message, read, tuples};
use crate::log::{Level, LogReader, Options, What, ALL_LINES};

use Level::{High, Low, Unknown};
use What::{Edge, Mark, Start};

const HEAD: &str = "$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end\n";

fn records(text: &str) -> Vec<(i64, u32, What)> {
    let (records, _, fault) = read(text.as_bytes());
    assert_eq!(fault, None);
    tuples(&records)
}

fn names(text: &str) -> Vec<String> {
    let (_, lines, fault) = read(text.as_bytes());
    assert_eq!(fault, None);
    lines.into_iter().map(|line| line.name).collect()
}

fn reader(text: &'static str) -> LogReader {
    LogReader::from_read(text.as_bytes(), "t", &Options::default()).unwrap()
}

#[test]
fn the_hand_written_dump_is_read_in_full() {
    let text = include_str!("../../../../tests/data/minimal.vcd");
    assert_eq!(
        records(text),
        [
            (0, 0, Start(High)),
            (0, 1, Start(Unknown)),
            (5_000, 1, Edge(Low)),
            (1_000_000, 0, Edge(Low)),
            (1_003_000, 0, Edge(High)),
            (1_009_000, 0, Edge(Low)),
            (1_027_000, 1, Edge(High)),
            (5_000_000, 1, Edge(Unknown)),
            (9_000_000, 0, Edge(High)),
        ]
    );
    let reader = reader(text);
    assert_eq!(reader.find("trigger").unwrap(), 1);
    assert!(reader
        .find("count[7:0]")
        .unwrap_err()
        .to_string()
        .contains("a vector of 8 bits"));
    assert!(reader
        .find("light")
        .unwrap_err()
        .to_string()
        .contains("a real"));
    assert!(reader
        .find("beem")
        .unwrap_err()
        .to_string()
        .contains("beam, trigger"));
    assert_eq!(
        reader.assumptions(),
        ["2 signals that are not of 1 bit are skipped"]
    );
}

#[test]
fn start_values_may_stand_before_at_or_after_the_first_mark() {
    let want = [(7, 0, Start(High)), (9, 0, Edge(Low))];
    assert_eq!(records(&format!("{HEAD}$dumpvars 1! $end #7 #9 0!")), want);
    assert_eq!(records(&format!("{HEAD}#7 $dumpvars 1! $end #9 0!")), want);
    assert_eq!(records(&format!("{HEAD}#7 1! #9 0!")), want);
    assert_eq!(records(&format!("{HEAD}#0 #7 1! #9 0!"))[1..], want);
    assert_eq!(records(&format!("{HEAD}1!")), [(0, 0, Start(High))]);
    assert_eq!(
        records(&format!("{HEAD}#5")),
        [(5, ALL_LINES, Mark), (5, 0, Start(Unknown))]
    );
    assert_eq!(records(HEAD), [(0, 0, Start(Unknown))]);
}

#[test]
fn checkpoints_and_gaps_are_values_like_others() {
    let text =
        format!("{HEAD}#0 1! #3 $dumpoff x! $end #8 $dumpon 0! $end #9 $dumpall 0! $end #12");
    assert_eq!(
        records(&text),
        [
            (0, 0, Start(High)),
            (3, 0, Edge(Unknown)),
            (8, 0, Edge(Low)),
            (9, 0, Mark),
            (12, ALL_LINES, Mark),
        ]
    );
}

#[test]
fn every_legal_spelling_is_read() {
    let text = "$comment 1! #5 $end\n$date today $end $version v $end $timescale\n\t10\n\tus $end\n\
        $scope module m $end $var wire 1 longer_than_a_word$%&! a $end $var reg 1 ~ b [2] $end\n\
        $upscope $end $enddefinitions $end #0 b0 ~ B1 longer_than_a_word$%&! #1 $comment x $end 1~ Zlonger_than_a_word$%&! #2\tX~";
    assert_eq!(names(text), ["a", "b[2]"]);
    assert_eq!(
        records(text),
        [
            (0, 1, Start(Low)),
            (0, 0, Start(High)),
            (10_000, 1, Edge(High)),
            (10_000, 0, Edge(Unknown)),
            (20_000, 1, Edge(Unknown)),
        ]
    );
}

#[test]
fn times_finer_than_a_nanosecond_are_rounded_and_told_once() {
    let text = "$timescale 100 ps $end $var wire 1 ! a $end $enddefinitions $end #0 1! #5 0! #15 1! #16 0! #20 1!";
    let times: Vec<i64> = records(text).iter().map(|record| record.0).collect();
    assert_eq!(times, [0, 0, 2, 2, 2]);
    let mut reader = reader(text);
    let mut batch = Vec::new();
    while reader.next_batch(&mut batch).unwrap() {}
    assert_eq!(
        reader
            .assumptions()
            .iter()
            .filter(|note| note.contains("half to even"))
            .count(),
        1
    );
}

#[test]
fn names_take_their_path_where_they_are_not_unique() {
    let text = "$scope module m $end $var wire 1 ! a $end $var wire 1 # c $end $scope module n $end\n\
        $var wire 1 % a $end $var wire 1 # c $end $var wire 1 # d $end $var wire 1 & e $end $var wire 1 ' e $end\n\
        $upscope $end $upscope $end $enddefinitions $end";
    assert_eq!(names(text), ["m.a", "c", "m.n.a", "m.n.e", "m.n.e~2"]);
    let reader = reader(text);
    assert_eq!(reader.find("d").unwrap(), 1);
    assert!(reader
        .assumptions()
        .iter()
        .any(|note| note.contains("such as d")));
    assert!(reader
        .assumptions()
        .iter()
        .any(|note| note.contains("1 ns is assumed")));
}

#[test]
fn damage_is_named_with_its_line() {
    let body = |text: &str| message(&format!("{HEAD}{text}"));
    assert!(body("#5\n1!\n#4\n").starts_with("t:4: found the time mark #4 after #5"));
    assert!(body("#5 1?").contains("identifier `?`"));
    assert!(body("#5 1 !").contains("its identifier directly behind it"));
    assert!(body("#5 q!").contains("found `q!`"));
    assert!(body("#5.5 1!").contains("found `#5.5`"));
    assert!(body("# 5").contains("found `#`"));
    assert!(body("#99999999999999999999").contains("below 2^64"));
    assert!(body("#9999999999999999999").contains("below 2^63 ns"));
    assert!(body("#5 b10 !").contains("several bits"));
    assert!(body("#5 b1q !").contains("b and digits"));
    assert!(body("#5 r1.5 !").contains("several bits, or a real"));
    assert!(body("#5 $end").contains("an open section"));
    assert!(body("#5 $dumpvars $dumpall").contains("$dumpall inside $dumpvars"));
    assert!(body("#5 $var wire 1 \" b $end").contains("behind the header"));
    assert!(body("#5 1!\0\n").contains("identifier `!\\u{0}`"));
    assert!(body(&format!("#5 b{} !", "1".repeat(200_000))).contains("longer than 131072 bytes"));
}

#[test]
fn a_cut_dump_keeps_what_it_has() {
    for (end, inside) in [
        ("$comment", "$comment"),
        ("b1", "a value"),
        ("$dumpall 0!", "$dumpall"),
    ] {
        let (records, _, fault) = read(format!("{HEAD}#0 1! #5 0! {end}").as_bytes());
        assert!(records.len() >= 2);
        assert!(fault
            .unwrap()
            .to_string()
            .contains(&format!("inside {inside}")));
    }
}

#[test]
fn broken_headers_are_named() {
    assert!(message("$var wire 1 ! a $end\n#0").contains("t:2: found `#0` in the header"));
    assert!(message("$var wire 1 ! a $end").contains("inside its header"));
    assert!(message("$timescale 3 us $end").contains("the timescale `3us`"));
    assert!(message("$var wire 1 ! $end").contains("type, size, identifier and name"));
    assert!(message("$var wire one ! a $end").contains("a whole number as its size"));
    assert!(message("$upscope $end").contains("an open $scope"));
    assert!(message("$scope module $end").contains("type and name"));
    assert!(message(&format!("$var {} $end", "w ".repeat(20))).contains("its $end"));
}
