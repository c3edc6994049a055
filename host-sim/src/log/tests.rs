//! The layer as a whole: the same records whatever the pieces, no panic whatever the bytes, round trips.

use std::fmt::Write as _;
use std::io::{self, Read};

use proptest::prelude::*;

use super::*;
use crate::fault::Fault;

/// Hands out a log in pieces of given lengths, over and over.
pub(crate) struct Pieces {
    data: Vec<u8>,
    at: usize,
    lengths: Vec<usize>,
    turn: usize,
}

impl Pieces {
    pub(crate) fn new(data: &[u8], lengths: &[usize]) -> Self {
        Self {
            data: data.to_vec(),
            at: 0,
            lengths: lengths.to_vec(),
            turn: 0,
        }
    }
}

impl Read for Pieces {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let length = self.lengths[self.turn % self.lengths.len()];
        self.turn += 1;
        let length = length.min(buffer.len()).min(self.data.len() - self.at);
        buffer[..length].copy_from_slice(&self.data[self.at..self.at + length]);
        self.at += length;
        Ok(length)
    }
}

pub(super) fn tuples(records: &[Record]) -> Vec<(i64, u32, What)> {
    let parts = |r: &Record| (r.time_ns, r.line, r.what);
    records.iter().map(parts).collect()
}

/// All a log says: its records, its lines, and the fault that ended it.
pub(super) type All = (Vec<Record>, Vec<LineInfo>, Option<Fault>);

pub(super) fn read_pieces(data: &[u8], lengths: &[usize], options: &Options) -> All {
    let mut all = Vec::new();
    let mut reader = match LogReader::from_read(Pieces::new(data, lengths), "t", options) {
        Ok(reader) => reader,
        Err(fault) => return (all, Vec::new(), Some(fault)),
    };
    let mut batch = Vec::new();
    let end = loop {
        match reader.next_batch(&mut batch) {
            Ok(true) => all.extend_from_slice(&batch),
            Ok(false) => break None,
            Err(fault) => break Some(fault),
        }
    };
    // The end stays the end.
    assert_eq!(reader.next_batch(&mut batch).err(), end);
    assert!(batch.is_empty());
    (all, reader.lines().to_vec(), end)
}

pub(super) fn read(data: &[u8]) -> All {
    read_pieces(data, &[usize::MAX], &Options::default())
}

pub(super) fn message(data: &str) -> String {
    read(data.as_bytes()).2.expect("a fault").to_string()
}

/// Writes what `data` says in another format.
fn rewritten(data: &[u8], target: Target) -> Vec<u8> {
    let (records, lines, fault) = read(data);
    assert_eq!(fault, None);
    let names: Vec<&str> = lines.iter().map(|line| line.name.as_str()).collect();
    let mut out = Vec::new();
    let mut writer = Writer::new(target, &mut out, "out", &names, false).unwrap();
    for record in &records {
        writer.write(record).unwrap();
    }
    assert!(!writer.finish().unwrap().any());
    out
}

fn recording(name: &str) -> Vec<u8> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/data/");
    std::fs::read(format!("{folder}{name}")).unwrap()
}

const LOGS: [&str; 6] = [
    "time_ns,line,level\n0,a,1\n0,long_line_name,0\n5,a,0\n-7,long_line_name,1\n12345678901234567,a,1\n9,\"q,\",x\n20,a,1",
    "time_ns,line,level\r\n0,a,1\r\n5,a,0\r\n\r\n# note\r\n6,b,1\r\nbroken\r\n7,a,1\r\n",
    "$timescale 1 us $end $var wire 1 ! a $end $var wire 1 longidentifier b $end $var reg 4 % v $end\n\
     $enddefinitions $end\n#0 $dumpvars 1! xlongidentifier b0000 % $end\n#5 0! $comment #3 $end 1longidentifier\n#9 b1 ! #10\n#12",
    "$var wire 1 ! a $end $enddefinitions $end 1! #7 0! #6 1!",
    "# made up\nscope 7\nTime [ms];D0;D1\n0,5;1;0\n0,75;0;0\n1;0;0\n1,5;0;\n2;0;1\n",
    "Time,Channel,Value\n0.000000001,\"D \"\"0\"\"\",1\n2.5e-9,\"D \"\"0\"\"\",0\n3,x,maybe\n",
];

#[test]
fn lines_begin_once_and_damage_ends_the_log_behind_the_rest() {
    let (records, lines, fault) = read(LOGS[1].as_bytes());
    let kinds: Vec<What> = records.iter().map(|record| record.what).collect();
    assert_eq!(
        kinds,
        [
            What::Start(Level::High),
            What::Edge(Level::Low),
            What::Start(Level::High)
        ]
    );
    assert_eq!(
        lines
            .iter()
            .map(|line| line.name.as_str())
            .collect::<Vec<_>>(),
        ["a", "b"]
    );
    assert!(fault
        .unwrap()
        .to_string()
        .starts_with("t:7: found `broken`, expected three fields"));
}

#[test]
fn rows_of_every_make_are_read() {
    let (records, lines, fault) = read(LOGS[0].as_bytes());
    assert_eq!(fault, None);
    let times: Vec<i64> = records.iter().map(|record| record.time_ns).collect();
    assert_eq!(times, [0, 0, 5, -7, 12_345_678_901_234_567, 9, 20]);
    assert_eq!(records[6].what, What::Mark);
    assert_eq!(
        lines[2],
        LineInfo {
            name: "q,".to_owned(),
            initial: Some(Level::Unknown)
        }
    );
}

#[test]
fn wrong_rows_are_named() {
    let row = |row: &str| message(&format!("time_ns,line,level\n0,a,1\n{row}\n"));
    assert!(row("1.5,a,1").contains("t:3: found `1.5` as time_ns"));
    assert!(row("99999999999999999999,a,1").contains("fits 64 bits"));
    assert!(row("1,a,2").contains("`2` as level"));
    assert!(row("1,,1").contains("expected a name"));
    assert!(row("1,a").contains("three fields"));
    assert!(row("1,a,1,1").contains("three fields"));
    assert!(row("1,\"a,1").contains("three fields"));
    assert!(row(&format!("1,{},1", "n".repeat(MAX_NAME_BYTES + 1))).contains("1024"));
    assert!(row(&"7".repeat(MAX_ROW_BYTES + 1)).contains("65536"));
    assert!(row(&"7".repeat(1 << 20)).contains("65536"));
}

#[test]
fn what_is_no_log_is_refused() {
    assert!(message("").contains("found no row"));
    assert!(message("\n\n# nothing\n").contains("found no row"));
    assert!(message("PK\x03\x04...").contains("ZIP"));
    assert!(message("hello\nworld\n").contains("the first row is `hello`"));
    let (_, _, fault) = read(b"\xff\xfet\0i\0");
    assert!(fault.unwrap().to_string().contains("UTF-16"));
    let missing = LogReader::open("/no/such/log.csv", &Options::default())
        .err()
        .unwrap()
        .to_string();
    assert!(missing.starts_with("/no/such/log.csv: ") && missing.contains("check the path"));
}

#[test]
fn too_many_lines_are_refused() {
    let mut log = String::from("time_ns,line,level\n");
    for line in 0..=MAX_LINES {
        writeln!(log, "0,{line},1").unwrap();
    }
    assert!(message(&log).contains("more than 16384 lines"));
    let long = "n".repeat(1000);
    let mut log = String::from("time_ns,line,level\n");
    for line in 0..2100 {
        writeln!(log, "0,{long}{line},1").unwrap();
    }
    assert!(message(&log).contains("2097152 bytes"));
}

#[test]
fn an_offset_is_added_or_refused() {
    let options = Options {
        offset_ns: i64::MAX - 5,
        ..Options::default()
    };
    let (records, _, fault) =
        read_pieces(b"time_ns,line,level\n0,a,1\n5,a,0\n6,a,1\n", &[9], &options);
    assert_eq!(records.last().unwrap().time_ns, i64::MAX);
    assert!(fault.unwrap().to_string().contains("offset"));
}

#[test]
fn an_offset_is_added_before_a_damage_too() {
    let options = Options {
        offset_ns: -3,
        ..Options::default()
    };
    let (records, _, fault) = read_pieces(LOGS[1].as_bytes(), &[usize::MAX], &options);
    let times: Vec<i64> = records.iter().map(|record| record.time_ns).collect();
    assert_eq!(times, [-3, 2, 3]);
    assert!(fault.is_some());
}

#[test]
fn a_live_stream_is_followed_row_by_row() {
    let rows = ["time_ns,line,level\n", "0,a,1\n", "5,a,0\n", "6,a,1\n"];
    let lengths: Vec<usize> = rows.iter().map(|row| row.len()).collect();
    let mut reader = LogReader::from_read(
        Pieces::new(rows.concat().as_bytes(), &lengths),
        "t",
        &Options::default(),
    )
    .unwrap();
    let mut batch = Vec::new();
    for time_ns in [0, 5, 6] {
        assert!(reader.next_batch(&mut batch).unwrap());
        assert_eq!(
            batch
                .iter()
                .map(|record| record.time_ns)
                .collect::<Vec<_>>(),
            [time_ns]
        );
    }
    assert!(!reader.next_batch(&mut batch).unwrap());
}

#[test]
fn recordings_keep_every_edge() {
    for (name, edges) in [
        ("ook-433mhz-receiver-12s.vcd", 14_819),
        ("rc-433mhz-8s.vcd", 1_600),
        ("ir-receiver-2s.vcd", 743),
    ] {
        let data = recording(&format!("recordings/{name}"));
        let (records, lines, fault) = read(&data);
        assert_eq!((fault, lines.len()), (None, 1));
        let mut describe = Describe::new();
        for record in &records {
            describe.add(record);
        }
        let facts = &describe.finish(&lines).lines[0];
        assert_eq!(facts.edges, edges, "{name}");
        assert_eq!(facts.name, "data");
        // One value change a line of the file, the initial one included.
        let values = data
            .split(|&byte| byte == b'\n')
            .filter(|row| matches!(row, [b'0' | b'1', b'!']));
        assert_eq!(values.count() as u64, edges + 1);
        let csv = rewritten(&data, Target::Csv);
        // The own CSV states the end of the log, which a dump has for all lines, for each of them.
        let want: Vec<Record> = records
            .iter()
            .map(|record| Record { line: 0, ..*record })
            .collect();
        assert!(
            read(&csv).0 == want && read(&rewritten(&csv, Target::Vcd)).0 == want,
            "{name}"
        );
    }
}

#[test]
fn describe_sums_up() {
    let log = "time_ns,line,level\n-10,a,0\n0,a,1\n5,a,0\n25,a,1\n28,a,x\n30,a,1\n40,a,1\n";
    let (records, lines, _) = read(log.as_bytes());
    let mut describe = Describe::new();
    for record in &records {
        describe.add(record);
    }
    let all = describe.finish(&lines);
    let facts = &all.lines[0];
    assert_eq!(all.duration_ns, 50);
    assert_eq!(
        (facts.edges, facts.high_ns, facts.low_ns, facts.unknown_ns),
        (5, 18, 30, 2)
    );
    assert_eq!(
        (facts.shortest_high_ns, facts.shortest_low_ns),
        (Some(5), Some(20))
    );
    assert_eq!(facts.high_dwells.bins().collect::<Vec<_>>(), [(4, 7, 1)]);
    assert_eq!(facts.low_dwells.bins().collect::<Vec<_>>(), [(16, 31, 1)]);
    assert_eq!((facts.initial, facts.times_back), (Level::Low, 0));
}

#[test]
fn a_dump_holds_no_negative_time_unless_lossy() {
    let records = [
        Record {
            time_ns: -5,
            line: 0,
            what: What::Start(Level::High),
        },
        Record {
            time_ns: 7,
            line: 0,
            what: What::Edge(Level::Low),
        },
        Record {
            time_ns: 6,
            line: 0,
            what: What::Edge(Level::High),
        },
    ];
    let mut out = Vec::new();
    let mut strict = Writer::new(Target::Vcd, &mut out, "out", &["a"], false).unwrap();
    assert!(strict
        .write(&records[0])
        .unwrap_err()
        .to_string()
        .contains("-5 ns"));
    drop(strict);
    assert!(Writer::new(Target::Vcd, &mut out, "out", &["a b"], false).is_err());
    out.clear();
    let mut lossy = Writer::new(Target::Vcd, &mut out, "out", &["a b"], true).unwrap();
    for record in &records {
        lossy.write(record).unwrap();
    }
    assert_eq!(
        lossy.finish().unwrap(),
        Loss {
            times_moved: 2,
            names_changed: 1,
            times_rounded: 0,
        }
    );
    let (read_back, lines, fault) = read(&out);
    assert_eq!(fault, None);
    assert_eq!(lines[0].name, "a_b");
    assert_eq!(
        read_back
            .iter()
            .map(|record| record.time_ns)
            .collect::<Vec<_>>(),
        [0, 7, 7]
    );
}

#[test]
fn convert_keeps_what_comes_before_a_damage() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.csv");
    std::fs::write(&path, LOGS[1]).unwrap();
    let mut out = Vec::new();
    let done = convert(
        path.to_str().unwrap(),
        &Options::default(),
        Target::Vcd,
        false,
        &mut out,
        "out",
    )
    .unwrap();
    assert_eq!(done.records, 3);
    assert!(done.damage.unwrap().to_string().contains("log.csv:7:"));
    assert_eq!(read(&out).0, read(LOGS[1].as_bytes()).0);
}

/// A log in the own CSV as the writer makes it, its times from 0 on.
fn canonical() -> impl Strategy<Value = String> {
    let row = (0..3_u64, 0..4_usize, 0..3_usize);
    let names = ["a", "beam_left", "c[3]", "é"];
    proptest::collection::vec(row, 0..60).prop_map(move |rows| {
        let mut log = String::from("time_ns,line,level\n");
        let mut time = 0;
        for (gap, line, level) in rows {
            time += gap;
            let level = ["0", "1", "x"][level];
            writeln!(log, "{time},{},{level}", names[line]).unwrap();
        }
        log
    })
}

proptest! {
    #[test]
    fn csv_to_dump_and_back_is_byte_equal(log in canonical()) {
        prop_assert_eq!(rewritten(log.as_bytes(), Target::Csv), log.as_bytes());
        let dump = rewritten(log.as_bytes(), Target::Vcd);
        prop_assert_eq!(rewritten(&dump, Target::Vcd), dump.clone());
        prop_assert_eq!(String::from_utf8(rewritten(&dump, Target::Csv)).unwrap(), log);
    }

    #[test]
    fn pieces_do_not_matter(log in 0..LOGS.len(), lengths in proptest::collection::vec(1..40_usize, 1..6)) {
        let data = LOGS[log].as_bytes();
        let whole = read(data);
        prop_assert_eq!(read_pieces(data, &lengths, &Options::default()), whole);
    }

    #[test]
    fn any_bytes_get_an_answer(data in proptest::collection::vec(any::<u8>(), 0..300)) {
        let whole = read(&data);
        prop_assert_eq!(read_pieces(&data, &[1], &Options::default()), whole);
    }

    #[test]
    fn any_damage_gets_an_answer(
        log in 0..LOGS.len(),
        at in any::<prop::sample::Index>(),
        cut in any::<bool>(),
        byte in prop::sample::select(&b"\0\n\r\t \",;.#$0123456789abxz!\xff"[..]),
    ) {
        let mut data = LOGS[log].as_bytes().to_vec();
        let at = at.index(data.len());
        if cut {
            data.truncate(at);
        } else {
            data[at] = byte;
        }
        let whole = read(&data);
        prop_assert_eq!(read_pieces(&data, &[1, 2, 3], &Options::default()), whole);
    }
}
