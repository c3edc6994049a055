//! Speed of the own CSV's reader beside a loop over the csv crate with one reused `ByteRecord`.
//!
//! Both take the same file through `read()`, check the same (three fields, whole number, known line, 0 or 1) and
//! hand each edge to the same work: nothing but a checksum, or a 100 µs debounce of each line dated back to
//! the first edge. Runs alternate, so that both meet the same machine; each figure is the median.
//!
//! `cargo bench --bench csv_replay [-- EDGES]`, 10 million edges by default.

use std::fs::File;
use std::hint::black_box;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::time::Instant;

use trueonset_sim::fault::Fault;
use trueonset_sim::log::{Level, LogReader, Options, What};

const LINES: [&str; 4] = ["beam", "probe", "coolant", "door"];
const HOLD_NS: i64 = 100_000;
const PASSES: usize = 7;

/// What is done with each edge.
trait Work: Default {
    fn edge(&mut self, time_ns: i64, line: usize, high: bool);
    /// A number that tells whether two runs saw the same.
    fn sum(&self) -> u64;
}

#[derive(Default)]
struct Checksum(u64);

impl Work for Checksum {
    fn edge(&mut self, time_ns: i64, line: usize, high: bool) {
        let word = (time_ns as u64) << 3 | (line as u64) << 1 | u64::from(high);
        self.0 = self
            .0
            .wrapping_add(word.wrapping_mul(0x9e37_79b9_7f4a_7c15));
    }

    fn sum(&self) -> u64 {
        self.0
    }
}

#[derive(Default, Clone, Copy)]
struct Burst {
    settled: bool,
    now: bool,
    first_ns: i64,
    last_ns: i64,
}

/// Reports a line's new level once it has held, at the first edge of its burst.
#[derive(Default)]
struct Debounce {
    lines: [Burst; LINES.len()],
    onsets: u64,
    sum: u64,
}

impl Work for Debounce {
    fn edge(&mut self, time_ns: i64, line: usize, high: bool) {
        let burst = &mut self.lines[line];
        if time_ns - burst.last_ns >= HOLD_NS {
            if burst.now != burst.settled {
                burst.settled = burst.now;
                self.onsets += 1;
                self.sum = self.sum.wrapping_add(burst.first_ns as u64);
            }
            burst.first_ns = time_ns;
        }
        burst.last_ns = time_ns;
        burst.now = high;
    }

    fn sum(&self) -> u64 {
        self.sum.wrapping_mul(31).wrapping_add(self.onsets)
    }
}

fn ours<W: Work>(path: &Path) -> Result<u64, Fault> {
    let mut reader = LogReader::open(&path.to_string_lossy(), &Options::default())?;
    let mut work = W::default();
    let mut batch = Vec::new();
    while reader.next_batch(&mut batch)? {
        for record in &batch {
            if let What::Start(level) | What::Edge(level) = record.what {
                work.edge(record.time_ns, record.line as usize, level == Level::High);
            }
        }
    }
    Ok(work.sum())
}

fn with_csv_crate<W: Work>(path: &Path) -> Result<u64, csv::Error> {
    let mut reader = csv::ReaderBuilder::new()
        .buffer_capacity(256 * 1024)
        .from_path(path)?;
    let mut row = csv::ByteRecord::new();
    let mut work = W::default();
    let mut names: Vec<(Vec<u8>, Option<bool>)> = Vec::new();
    while reader.read_byte_record(&mut row)? {
        assert_eq!(row.len(), 3, "three fields");
        let text = std::str::from_utf8(&row[0]).expect("text");
        let time_ns: i64 = text.parse().expect("a whole number");
        let known = names.iter().position(|(name, _)| name == &row[1]);
        let line = known.unwrap_or_else(|| {
            names.push((row[1].to_vec(), None));
            names.len() - 1
        });
        let high = match &row[2] {
            b"0" => false,
            b"1" => true,
            _ => panic!("0 or 1"),
        };
        if names[line].1 != Some(high) {
            names[line].1 = Some(high);
            work.edge(time_ns, line, high);
        }
    }
    Ok(work.sum())
}

/// Bursts of edges with gaps of microseconds, milliseconds apart, on four lines; about 19 bytes an edge.
fn write_log(path: &Path, edges: u64) -> std::io::Result<()> {
    let mut out = BufWriter::new(File::create(path)?);
    writeln!(out, "time_ns,line,level")?;
    let mut state = 1_u64;
    let mut random = |below: u64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state % below
    };
    let mut levels = [false; LINES.len()];
    let mut time = 0;
    let mut left = 0;
    let mut line = 0;
    for _ in 0..edges {
        if left == 0 {
            left = 1 + random(40);
            line = random(LINES.len() as u64) as usize;
            time += 1_000_000 + random(20_000_000);
        }
        left -= 1;
        time += 20 + random(16_000);
        // Lines chatter at the same time now and then, so that no reader can rely on one line at a time.
        let at = if random(4) == 0 {
            random(LINES.len() as u64) as usize
        } else {
            line
        };
        levels[at] = !levels[at];
        writeln!(out, "{time},{},{}", LINES[at], u8::from(levels[at]))?;
    }
    out.flush()
}

/// Time this thread computed where the system tells, so that other programs do not count; else time passed.
struct Clock {
    computed_ns: Option<u64>,
    passed: Instant,
}

impl Clock {
    fn now() -> Self {
        Self {
            computed_ns: computed_ns(),
            passed: Instant::now(),
        }
    }

    fn elapsed_s(&self) -> f64 {
        match (self.computed_ns, computed_ns()) {
            (Some(from), Some(to)) => (to - from) as f64 / 1e9,
            _ => self.passed.elapsed().as_secs_f64(),
        }
    }
}

fn computed_ns() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split(' ').next()?.parse().ok()
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn compare<W: Work>(what: &str, path: &Path, edges: u64) {
    let (mut own, mut other) = (Vec::new(), Vec::new());
    for _ in 0..PASSES {
        let start = Clock::now();
        let sum = black_box(ours::<W>(path).expect("a sound log"));
        own.push(start.elapsed_s());
        let start = Clock::now();
        let other_sum = black_box(with_csv_crate::<W>(path).expect("a sound log"));
        other.push(start.elapsed_s());
        assert_eq!(sum, other_sum, "both saw the same");
    }
    let (own, other) = (median(own), median(other));
    let per_edge = 1e9 / edges as f64;
    println!(
        "{what:<12} own {:6.2} ns/edge {:6.1} Medge/s | csv ByteRecord {:6.2} ns/edge | ratio {:.2}",
        own * per_edge,
        edges as f64 / own / 1e6,
        other * per_edge,
        other / own
    );
}

fn main() -> std::io::Result<()> {
    let edges = std::env::args()
        .find_map(|word| word.parse().ok())
        .unwrap_or(10_000_000);
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("log.csv");
    write_log(&path, edges)?;
    println!(
        "{edges} edges, {} bytes, median of {PASSES}, time computed",
        path.metadata()?.len()
    );
    compare::<Checksum>("read only", &path, edges);
    compare::<Debounce>("debounce", &path, edges);
    Ok(())
}
