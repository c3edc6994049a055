use crate::log::tests::{message, read, read_pieces, tuples};
use crate::log::{Format, Initial, Level, LogReader, Options, Record, TimeUnit, What, ALL_LINES};

use Level::{High, Low, Unknown};
use What::{Edge, Mark, Start};

fn records_with(text: &str, options: &Options) -> Vec<(i64, u32, What)> {
    let (records, _, fault) = read_pieces(text.as_bytes(), &[7], options);
    assert_eq!(fault, None);
    tuples(&records)
}

fn records(text: &str) -> Vec<(i64, u32, What)> {
    records_with(text, &Options::default())
}

fn columns(text: &str) -> Options {
    Options {
        columns: Some(text.parse().unwrap()),
        ..Options::default()
    }
}

fn notes(text: &'static str) -> String {
    let mut reader = LogReader::from_read(text.as_bytes(), "t", &Options::default()).unwrap();
    let mut batch = Vec::new();
    while reader.next_batch(&mut batch).unwrap() {}
    reader.assumptions().join("; ")
}

#[test]
fn one_column_a_line() {
    let text = "Time [s],D0,D1\n0.0,1,0\n0.000001,0,0\n0.000002,0,0\n0.000003,1,1\n";
    assert_eq!(
        records(text),
        [
            (0, 0, Start(High)),
            (0, 1, Start(Low)),
            (1_000, 0, Edge(Low)),
            (2_000, ALL_LINES, Mark),
            (3_000, 0, Edge(High)),
            (3_000, 1, Edge(High)),
        ]
    );
    let reader = LogReader::from_read(text.as_bytes(), "t", &Options::default()).unwrap();
    assert_eq!(
        (reader.format(), reader.declares_lines()),
        (Format::ForeignCsv, true)
    );
    assert!(notes(text).contains("Time [s] is taken as time in s"));
    assert!(notes(text).contains("the first row of each line is its initial level"));
}

#[test]
fn one_line_a_row() {
    let text = "Time;Channel;Value\r\n-0,5;\"left\";high\r\n1e-9;left;LOW\r\n2,5e-9;right;x\r\n";
    assert_eq!(
        records(text),
        [
            (-500_000_000, 0, Start(High)),
            (1, 0, Edge(Low)),
            (2, 1, Start(Unknown))
        ]
    );
    assert!(notes(text).contains("states no unit: it is taken as time in s"));
    assert!(notes(text).contains("half to even"));
}

#[test]
fn named_columns_win() {
    let text = "Model,X1\nstamp\tprobe\tnoise\n10\t1\t3.29\n12\t0\t1.1\n";
    let mut options = columns("time=stamp,level=probe");
    options.time_unit = Some(TimeUnit::Microseconds);
    assert_eq!(
        records_with(text, &options),
        [(10_000, 0, Start(High)), (12_000, 0, Edge(Low))]
    );
    let (_, _, fault) = read_pieces(text.as_bytes(), &[50], &columns("time=stamp,level=prob"));
    assert!(fault.unwrap().to_string().contains("stamp, prob"));
    let long = columns("time=time_ns,line=line,level=level");
    assert_eq!(
        records_with("time_ns,line,level\n7,a,1\n", &long),
        [(7, 0, Start(High))]
    );
}

#[test]
fn marks_comments_text_and_units_are_stepped_over() {
    let text = "\u{feff}; made by hand\n# more\nModel,X1\nRows,2\nX-axis,CH1\nsecond,Volt\n1.0,1\n\n# note\n2.0,0\n";
    assert_eq!(
        records(text),
        [
            (1_000_000_000, 0, Start(High)),
            (2_000_000_000, 0, Edge(Low))
        ]
    );
    assert!(notes(text).contains("2 rows before the header are skipped"));
}

#[test]
fn a_preamble_that_names_a_time_of_day_is_no_header() {
    let text = "Time,12:30\nChannel,1\nTime [s],D0\n0.0,1\n0.001,0\n";
    assert_eq!(
        records(text),
        [(0, 0, Start(High)), (1_000_000, 0, Edge(Low))]
    );
    assert!(notes(text).contains("2 rows before the header are skipped"));
}

#[test]
fn damage_right_below_a_header_does_not_make_the_log_headerless() {
    for (row, found) in [
        ("0x,7", "`0x`"),
        ("1e,7.5", "`1e`"),
        ("foo", "`foo`"),
        ("\"1,0", "1,0"),
    ] {
        let text = format!("Time [s],D0\n{row}\n0.001,1\n0.002,0\n");
        for options in [Options::default(), columns("time=Time [s],level=D0")] {
            let (records, _, fault) = read_pieces(text.as_bytes(), &[7], &options);
            let fault = fault.unwrap().to_string();
            assert!(
                records.is_empty() && fault.contains(found),
                "{row}: {fault}"
            );
            assert!(
                fault.starts_with("t:2: ") || fault.contains(":2: "),
                "{row}: {fault}"
            );
        }
    }
}

#[test]
fn without_header_the_first_column_is_the_time() {
    let text = "0.001,1\n0.002,0\n";
    assert_eq!(
        records(text),
        [(1_000_000, 0, Start(High)), (2_000_000, 0, Edge(Low))]
    );
    assert!(notes(text).contains("no header"));
    assert_eq!(records("0.5\t0\t1\n").len(), 2);
}

#[test]
fn initial_levels_may_be_stated() {
    let text = "time_us,a\n5,1\n6,0\n";
    let with = |initial| {
        records_with(
            text,
            &Options {
                initial,
                ..Options::default()
            },
        )
    };
    assert_eq!(
        with(Initial::Low),
        [
            (5_000, 0, Start(Low)),
            (5_000, 0, Edge(High)),
            (6_000, 0, Edge(Low))
        ]
    );
    assert_eq!(
        with(Initial::High),
        [(5_000, 0, Start(High)), (6_000, 0, Edge(Low))]
    );
    let own = Options {
        initial: Initial::Low,
        ..Options::default()
    };
    assert_eq!(
        records_with("time_ns,line,level\n7,a,1\n", &own),
        [(7, 0, Start(Low)), (7, 0, Edge(High))]
    );
}

#[test]
fn empty_cells_are_no_news() {
    let text = "time_ms,a,b\n0,1,0\n1,,1\n2,0,\n";
    let want = [
        (0, 0, Start(High)),
        (0, 1, Start(Low)),
        (1_000_000, 1, Edge(High)),
        (2_000_000, 0, Edge(Low)),
    ];
    assert_eq!(records(text), want);
    assert!(notes(text).contains("no news"));
}

#[test]
fn numbers_of_other_programs_may_be_levels() {
    let text = "time (ns),a\n0,1.000e+00\n1,0.0\n2,1\n";
    assert_eq!(
        records(text),
        [(0, 0, Start(High)), (1, 0, Edge(Low)), (2, 0, Edge(High))]
    );
}

#[test]
fn latin_1_headers_are_read() {
    let (records, lines, fault) = read(b"Zeit [\xb5s];Fl\xe4che\n1;1\n2;0\n");
    assert_eq!(fault, None);
    assert_eq!(lines[0].name, "Fläche");
    assert_eq!(
        records[1],
        Record {
            time_ns: 2_000,
            line: 0,
            what: Edge(Low)
        }
    );
}

#[test]
fn wrong_rows_are_named() {
    let row = |row: &str| message(&format!("Time [s],CH1\n0,1\n{row}\n"));
    assert!(row("1,3.29").starts_with(
        "t:3: found `3.29` as level of `CH1`, expected 0 or 1; this looks like an analog"
    ));
    assert!(row("1,maybe").contains("0, 1, low, high"));
    assert!(row("soon,1").contains("`soon` as time"));
    assert!(row("1").contains("1 fields"));
    assert!(row("0,5,1").contains("decimal comma"));
    assert!(row("1e99,1").contains("292 years"));
    assert!(row("1,\"0").contains("open quote"));
    assert!(message("Time,a,a\n0,1,1\n").contains("two columns named `a`"));
    assert!(message("Time,\n0,\n").contains("no header"));
    assert!(message("0.1,3.29\n").contains("analog"));
}

#[test]
fn dumps_refuse_options_of_csv() {
    let (_, _, fault) = read_pieces(b"$enddefinitions $end", &[9], &columns("time=a,level=b"));
    assert!(fault
        .unwrap()
        .to_string()
        .contains("leave these options out"));
}
