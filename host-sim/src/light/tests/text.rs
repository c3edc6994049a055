//! Own CSV and scope CSV.

use super::{columns, read, read_pieces, All};
use crate::light::{Rate, MAX_LINES};
use crate::log::{Options, TimeUnit};

fn own(rows: &str) -> All {
    read(format!("time_ns,line,counts\n{rows}").as_bytes())
}

fn scope(columns_text: &str, text: &str) -> All {
    read_pieces(text.as_bytes(), &[5], &columns(columns_text))
}

#[test]
fn the_own_csv_is_read_in_all_its_forms() {
    let all = own("# dark\r\n0, beam ,4095\r\n\r\n5000,\"beam\",0007\n10000,beam,4294967295");
    assert_eq!(all.fault, None);
    assert_eq!(
        all.tuples(),
        [(0, 0, 0, 4095), (0, 1, 5000, 7), (0, 2, 10_000, u32::MAX)]
    );
    assert_eq!(all.lines[0].name, "beam");
    assert_eq!(all.lines[0].rate, Rate::new(1, 5000));
}

#[test]
fn lines_have_grids_of_their_own() {
    let all = own("0,a,1\n3,\"b,c\",9\n10,a,2\n10,\"b,c\",8\n30,a,3\n17,\"b,c\",7\n");
    assert_eq!(all.fault, None);
    assert_eq!(
        all.tuples(),
        [
            (0, 0, 0, 1),
            (0, 1, 10, 2),
            (0, 3, 30, 3),
            (1, 0, 3, 9),
            (1, 1, 10, 8),
            (1, 2, 17, 7)
        ]
    );
    assert_eq!(all.lines[1].name, "b,c");
    assert_eq!(all.lines[1].rate, Rate::new(1, 7));
}

#[test]
fn what_stands_before_a_damage_is_delivered() {
    for (row, words) in [
        ("rubbish", "three fields `time_ns,line,counts`"),
        ("15000,a,-1", "`-1` as counts"),
        ("15000,a,1.5", "light=NAME*FACTOR"),
        ("15000,a,4294967296", "`4294967296` as counts"),
        ("1.5e4,a,1", "`1.5e4` as time_ns"),
        ("15000,,1", "a name"),
        ("5000,a,1", "sort the rows"),
        ("12500,a,1", "0.50 samples"),
    ] {
        let all = own(&format!("0,a,1\n5000,a,2\n10000,a,3\n{row}\n20000,a,5\n"));
        assert_eq!(all.counts(), [1, 2, 3], "{row}");
        let message = all.message();
        assert!(
            message.starts_with("t:5: found") && message.contains(words),
            "{message}"
        );
    }
}

#[test]
fn the_earliest_damage_of_several_lines_is_named() {
    // Row 6 is a damage; held back until then are rows that are none, of b in row 4 and of a in row 5.
    let all = own("0,a,1\n9,b,1\n0,b,2\n0,a,3\nrubbish\n");
    assert!(all.message().starts_with("t:4: "), "{}", all.message());
    assert_eq!(all.tuples(), [(0, 0, 0, 1), (1, 0, 9, 1)]);
}

#[test]
fn too_many_lines_are_refused() {
    let names: Vec<String> = (0..=MAX_LINES).map(|k| format!("n{k}")).collect();
    let all = own(&format!("0,{},1\n", names.join(",1\n0,")));
    assert_eq!(all.records.len(), MAX_LINES);
    assert!(all
        .message()
        .starts_with("t:258: found more than 256 lines"));
    let named = format!("time=t,light={}", names.join(",light="));
    let all = scope(&named, &format!("t,{}\n", names.join(",")));
    assert!(all.message().contains("more than 256 lines"));
}

#[test]
fn scopes_are_read_with_their_units_and_quotes() {
    let text = "\u{feff}Model;X\r\n\"Time [us]\";\"CH1 (V)\";\"CH2\"\r\n-0,5;3,2764;\"12\"\r\n0;3,2765;-3\r\n0,5;-1e-9;4\r\n2;;5\r\n";
    let all = scope("time=Time [us],light=CH1 (V)*1000,light=CH2", text);
    assert_eq!(all.fault, None);
    assert_eq!(
        all.tuples(),
        [
            (0, 0, -500, 3276),
            (0, 1, 0, 3276),
            (0, 2, 500, 0),
            (1, 0, -500, 12),
            (1, 1, 0, 0),
            (1, 2, 500, 4),
            (1, 5, 2000, 5),
        ]
    );
    assert_eq!(all.below_zero, 1);
    let notes = all.notes.join("; ");
    for note in [
        "rows before the header are skipped",
        "taken as time in us",
        "rounded half to even to whole counts",
        "below 0",
        "missing sample",
    ] {
        assert!(notes.contains(note), "{note} in {notes}");
    }
    assert!(!notes.contains("initial level"));
}

#[test]
fn a_row_of_units_below_the_header_is_taken() {
    let all = scope(
        "time=Time,light=Channel A",
        "Time,Channel A\r\n(ms),(mV)\r\n\r\n-0.01,3000\r\n0,2990\r\n",
    );
    assert_eq!(all.fault, None);
    assert_eq!(all.tuples(), [(0, 0, -10_000, 3000), (0, 1, 0, 2990)]);
    // A damaged first row does not take the header with it.
    let all = scope("time=Time,light=A", "Time,A\n0x,3000\n1,2990\n");
    assert!(
        all.message().starts_with("t:2: found `0x` as time"),
        "{}",
        all.message()
    );
}

#[test]
fn one_light_column_beside_a_line_column() {
    let text = "t,who,v\n0,left,1\n0,right,2\n1,left,3\n1,right,4\n";
    let options = Options {
        time_unit: Some(TimeUnit::Milliseconds),
        ..columns("time=t,line=who,light=v*2")
    };
    let all = read_pieces(text.as_bytes(), &[3], &options);
    assert_eq!(all.fault, None);
    assert_eq!(
        all.tuples(),
        [
            (0, 0, 0, 2),
            (0, 1, 1_000_000, 6),
            (1, 0, 0, 4),
            (1, 1, 1_000_000, 8)
        ]
    );
    assert_eq!(all.lines[1].rate.map(Rate::hz), Some(1000));
}

#[test]
fn wrong_cells_are_named() {
    let row = |factor: &str, row: &str| {
        let all = scope(
            &format!("time=t,light=v{factor}"),
            &format!("t,v\n0,1\n1,2\n{row}\n"),
        );
        assert_eq!(all.records.len(), 2);
        let message = all.message();
        assert!(message.starts_with("t:4: found"), "{message}");
        message
    };
    assert!(row("", "2,1.5").contains("light=NAME*1000"));
    assert!(row("", "2,inf").contains("`inf` as light of `v`"));
    assert!(row("", "2,4294967296").contains("at most 4294967295"));
    assert!(row("*1000", "2,1e30").contains("smaller factor"));
    assert!(row("", "2").contains("1 fields"));
    assert!(row("", "now,1").contains("`now` as time"));
    assert!(row("", "1,1").contains("sort the rows"));
    assert!(scope("time=t,light=other", "t,v\n0,1\n")
        .message()
        .contains("t, other"));
}
