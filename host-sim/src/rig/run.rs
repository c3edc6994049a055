//! A whole log through a device, and the comparison.

use trueonset::onset::Truncation;
use trueonset::time::Instant;
use trueonset_rig::{
    push_report, Answer, Block, Bytes, Item, Kind, Machine, Report, Reports, Request, What, LINES,
};

use super::difference::Difference;
use super::feed::Feed;
use super::rows::Rows;
use super::session::Session;
use crate::fault::Fault;
use crate::log::LogReader;
use crate::replay::clock::log_ns;
use crate::replay::{Row, Settings, Tally};

/// What came of a test.
pub struct Tested {
    /// The device's touches, by onset.
    pub rows: Vec<Row>,
    /// Its touches, releases and glitches.
    pub told: [u64; 3],
    /// In what device and program are not alike, the first 1000.
    pub differences: Vec<Difference>,
    /// How many there are.
    pub differ: u64,
    /// Release of the device's library.
    pub release: [u8; 3],
    /// Where the edges went, here.
    pub tally: Tally,
    /// Nothing after this time was seen, ns; none where all was.
    pub seen_until_ns: Option<i64>,
    /// Why the log could not be read or the device not be asked to its end.
    pub faults: Vec<Fault>,
}

/// Sends the log of `reader` to the device of `session` and compares what comes back. `each` hears
/// how many items the device has taken.
///
/// # Errors
/// The device cannot be asked anything at all, or the log does not fit it. What ends a test that
/// has begun stands in the result, beside what came before.
pub fn run(
    reader: &mut LogReader,
    settings: &Settings,
    session: &mut Session<'_>,
    run: u32,
    each: &mut dyn FnMut(u64),
) -> Result<Tested, Fault> {
    let release = session.hello(run)?;
    let ours = trueonset_rig::Settings {
        tick_hz: 1_000_000_000,
        hold_ns: settings.hold_ns,
        bandwidth_hz: settings.bandwidth_hz,
        // A log holds the nearest nanosecond.
        side: Truncation::Nearest,
        step_256: 256,
    };
    let body = Request::Settings(ours).body();
    session.ask(&body, "the settings", |answer| {
        matches!(answer, Answer::Settings).then_some(())
    })?;
    let machine = Machine::new(&ours).map_err(|why| {
        Fault::new(
            trueonset_rig::BadSettings::words(why.number()),
            "settings the library takes",
            "correct --hold or --bandwidth",
        )
    })?;
    let mut test = Test {
        feed: Feed::new(reader, settings),
        session,
        machine,
        taken: 0,
        few: FIRST,
        rows: Rows::default(),
        told: [0; 3],
        differences: Vec::new(),
        differ: 0,
        tally: Tally::default(),
        settled: Instant::from_ticks(0),
    };
    let mut ended = test.all(each);
    if ended.is_ok() {
        ended = test.end();
    }
    Ok(test.over(release, ended.err()))
}

/// Differences kept at most.
const KEPT: usize = 1000;

/// Items of the first request, and of one on the worst of lines.
const FIRST: usize = 16;
const LEAST: usize = 2;

/// Items of the next request. On a bad line short messages get through more often; where much comes
/// back, what is sent beyond it is sent in vain.
fn next(sent: usize, taken: usize, again: bool) -> usize {
    let next = if again {
        taken / 2
    } else if taken < sent {
        taken + taken / 2
    } else {
        sent * 2
    };
    next.clamp(LEAST, usize::from(u8::MAX))
}

struct Test<'a, 'b> {
    feed: Feed<'a>,
    session: &'a mut Session<'b>,
    machine: Machine,
    /// Items the device has taken.
    taken: u32,
    /// Items of the next request at most.
    few: usize,
    rows: Rows,
    told: [u64; 3],
    differences: Vec<Difference>,
    differ: u64,
    tally: Tally,
    /// Time of the last item taken.
    settled: Instant,
}

impl Test<'_, '_> {
    /// Block after block, until the log is over.
    fn all(&mut self, each: &mut dyn FnMut(u64)) -> Result<(), Fault> {
        loop {
            let Some(first) = self.feed.waiting()?.front().copied() else {
                return Ok(());
            };
            let what = self.row(&first);
            let (from, base) = (self.taken, first.at);
            let waiting = self.feed.waiting()?;
            let mut body = Request::Edges {
                from,
                base,
                items: &[],
            }
            .body();
            let mut block = Block::from(base);
            let few = waiting.iter().take(self.few);
            let sent = few.take_while(|item| block.push(item, &mut body)).count();
            let again = self.session.counts().again;
            let (taken, reports) = self.session.ask(&body, &what, |answer| match answer {
                Answer::Took {
                    from: of,
                    taken,
                    reports,
                } if *of == from => Some((*taken, reports.to_vec())),
                _ => None,
            })?;
            self.compare(taken, sent, &reports)?;
            self.few = next(
                sent,
                usize::from(taken),
                self.session.counts().again > again,
            );
            each(u64::from(self.taken));
        }
    }

    /// What the device said to the next `taken` items, against what comes of them here.
    fn compare(&mut self, taken: u8, sent: usize, reports: &[u8]) -> Result<(), Fault> {
        let told: Option<Vec<Report<'_>>> = Reports::new(reports).collect();
        let told = told.filter(|told| {
            let rising = told.windows(2).all(|pair| pair[0].item < pair[1].item);
            let within = told.last().is_none_or(|last| last.item < taken);
            rising && within && (1..=sent).contains(&usize::from(taken))
        });
        let told = told.ok_or_else(|| self.contradicts())?;
        let mut told = told.iter().peekable();
        for number in 0..taken {
            let Some(item) = self.feed.take() else { break };
            let device = told.next_if(|report| report.item == number);
            self.item(number, &item, device)?;
        }
        Ok(())
    }

    fn item(&mut self, number: u8, item: &Item, device: Option<&Report<'_>>) -> Result<(), Fault> {
        let mut bytes = Bytes::new();
        let event = self.machine.take(item).map_err(|_| self.contradicts())?;
        if let Some(event) = event {
            push_report(number, item.line, &event, &mut bytes);
        }
        let here = Reports::new(bytes.all()).next().flatten();
        let name = self.name(item.line).to_owned();
        let difference = Difference::of(&name, item.at, device, here.as_ref());
        if let Some(difference) = difference {
            self.differs(difference);
        }
        if let Some(report) = device {
            self.rows.take(&name, report);
            self.told[match report.kind {
                Kind::Touch => 0,
                Kind::Release => 1,
                Kind::Glitch => 2,
            }] += 1;
        }
        match item.what {
            What::Start(..) => {
                self.tally.edges_in += 1;
                self.tally.initial += 1;
            }
            What::Edge(_) => self.tally.edges_in += 1,
            What::Passed => {}
        }
        self.settled = self.settled.max(item.at);
        self.taken = self.taken.wrapping_add(1);
        Ok(())
    }

    fn differs(&mut self, difference: Difference) {
        self.differ += 1;
        if self.differences.len() < KEPT {
            self.differences.push(difference);
        }
    }

    /// An item in words.
    fn row(&self, item: &Item) -> String {
        let time_ns = log_ns(item.at);
        let name = self.name(item.line);
        format!("row {} of the log ({name} at {time_ns} ns)", self.taken)
    }

    fn name(&self, line: u8) -> &str {
        let names = self.feed.names();
        names.get(usize::from(line)).map_or("", String::as_str)
    }

    fn contradicts(&self) -> Fault {
        Fault::new(
            format!(
                "an answer that contradicts itself at row {} of the log",
                self.taken
            ),
            "reports in the order of the edges",
            "build device and program from the same release",
        )
        .at(self.session.place())
    }

    /// The sums at the end.
    fn end(&mut self) -> Result<(), Fault> {
        let items = self.taken;
        let body = Request::End { items }.body();
        let device = self
            .session
            .ask(&body, "the end of the log", |answer| match answer {
                Answer::End { items: of, tallies } if *of == items => Some(*tallies),
                _ => None,
            })?;
        let here = self.machine.tallies();
        for line in (0..LINES).filter(|line| device[*line] != here[*line]) {
            let name = self.feed.names().get(line).cloned().unwrap_or_default();
            self.differs(Difference {
                line: name,
                time_ns: None,
                what: "edges",
                device: Some(sums(&device[line])),
                here: Some(sums(&here[line])),
            });
        }
        Ok(())
    }

    fn over(mut self, release: [u8; 3], ended: Option<Fault>) -> Tested {
        for sums in self.machine.tallies() {
            let [touches, releases, glitches, initial, refused, pending] = sums.map(u64::from);
            self.tally.touches += touches;
            self.tally.releases += releases;
            self.tally.glitches += glitches;
            self.tally.initial += initial;
            self.tally.unfinished += pending;
            self.tally.refused += refused + pending;
        }
        let damage = self.feed.damage();
        let faults: Vec<Fault> = damage.into_iter().chain(ended).collect();
        let settled = self
            .machine
            .open_since()
            .map_or(self.settled, |open| open.min(self.settled));
        Tested {
            rows: self.rows.sorted(),
            told: self.told,
            differences: self.differences,
            differ: self.differ,
            release,
            tally: self.tally,
            seen_until_ns: (!faults.is_empty()).then(|| log_ns(settled)),
            faults,
        }
    }
}

fn sums(counts: &[u32; 6]) -> String {
    let words = [
        "touches",
        "releases",
        "glitches",
        "initial",
        "refused",
        "unfinished",
    ];
    let told = words
        .iter()
        .zip(counts)
        .map(|(word, count)| format!("{word} {count}"));
    told.collect::<Vec<_>>().join(" ")
}
