//! The device's touches as rows of the table.

use trueonset::flags::Flags;
use trueonset::onset::Doubt;
use trueonset::time::{FineInstant, Instant, TickRate};
use trueonset_rig::{Kind, Report};

use crate::replay::clock::{log_ns, nearest_log_ns};
use crate::replay::Row;

/// Rows of touches as they come; where a release completes one, the last of its line.
#[derive(Default)]
pub(super) struct Rows {
    rows: Vec<(u8, Row)>,
}

impl Rows {
    /// Takes a report on the line `name`.
    pub(super) fn take(&mut self, name: &str, report: &Report<'_>) {
        match report.kind {
            Kind::Touch => self.rows.push((report.line, row(name, report))),
            Kind::Release => {
                let mut touches = self.rows.iter_mut().rev();
                let touch = touches.find(|(line, _)| *line == report.line);
                // Contact at the start of the log has a release and no touch.
                if let Some((_, row)) = touch.filter(|(_, row)| row.release_ns.is_none()) {
                    row.release_ns = Some(onset_ns(report));
                    row.release_doubt_ns = doubt_ns(report);
                    row.flags = row.flags.with_release(flags(report.value("flags")));
                }
            }
            Kind::Glitch => {}
        }
    }

    /// All rows by onset, lines in their order on ties.
    pub(super) fn sorted(mut self) -> Vec<Row> {
        self.rows.sort_by_key(|(line, row)| (row.onset_ns, *line));
        self.rows.into_iter().map(|(_, row)| row).collect()
    }
}

fn row(name: &str, touch: &Report<'_>) -> Row {
    let time = |name| log_ns(Instant::from_ticks(touch.value(name)));
    Row {
        line: name.to_owned(),
        onset_ns: onset_ns(touch),
        doubt_ns: doubt_ns(touch),
        first_edge_ns: time("first_edge"),
        last_edge_ns: time("last_edge"),
        edges: touch.value("edges") as u32,
        confirmed_ns: time("confirmed"),
        release_ns: None,
        release_doubt_ns: None,
        flags: flags(touch.value("flags")),
        cutter: None,
    }
}

fn onset_ns(report: &Report<'_>) -> i64 {
    let whole = Instant::from_ticks(report.value("onset"));
    nearest_log_ns(FineInstant::new(whole, report.value("onset_256") as i32))
}

fn doubt_ns(report: &Report<'_>) -> Option<u64> {
    let sixteenths = report.value("doubt_16") as u32;
    (sixteenths > 0).then(|| Doubt::from_sixteenths(sixteenths).ns(TickRate::NANOSECONDS))
}

/// The flags of a value.
pub(super) fn flags(bits: u64) -> Flags {
    Flags::from_bits(bits as u32)
}
