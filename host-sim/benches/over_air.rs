//! Touches through both sides of a link over many channels: none late with READY up, none twice,
//! none beyond its bound, no foreign frame used.
//!
//! `cargo bench --bench over_air [-- TOUCHES]`: TOUCHES over all channels together (1 000 000).
//! Kept under `tests/results/`. Exit 1 when a limit is broken.

use std::fmt::Write as _;
use std::process::ExitCode;
use std::time::Instant;

use rayon::prelude::*;
use trueonset::clock::Oscillator as Kind;
use trueonset::link::LinkPlan;
use trueonset_sim::fault::Fault;
use trueonset_sim::model::channel::{Copies, ErrorBursts, Foreign, Loss, Medium, Setting, Timing};
use trueonset_sim::model::oscillator::{Crystal, Oscillator, Parts};
use trueonset_sim::study::over_air::{Flight, Flown, ID};

const RESULT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/results/over_air.csv");
const LOSSES: [f64; 5] = [0.001, 0.01, 0.03, 0.1, 0.3];
/// 0: without memory.
const BURSTS: [f64; 6] = [0.0, 2.0, 3.0, 5.0, 10.0, 20.0];

/// Touches of one flight, some 20 minutes of the probe's day.
const ROUND: u64 = 4_000;

/// Medium, oscillator and jitter of the captured stamps: 0.2 µs, but where the set says coarse.
#[derive(Clone, Copy, Debug)]
enum Set {
    Infrared,
    Radio,
    /// 1 µs: the edge of a sync word as a radio tells it (from memory).
    RadioCoarse,
    InfraredRc,
}

impl Set {
    const ALL: [Self; 4] = [
        Self::Infrared,
        Self::Radio,
        Self::RadioCoarse,
        Self::InfraredRc,
    ];

    /// The greatest bound that keeps READY.
    fn bound_ns(self) -> u32 {
        match self {
            Self::Infrared => 1_000,
            Self::Radio => 2_000,
            Self::RadioCoarse | Self::InfraredRc => 4_000,
        }
    }

    fn flight(self, loss: Loss) -> Flight {
        let (plan, timing) = match self {
            Self::Infrared | Self::InfraredRc => (LinkPlan::INFRARED, Timing::INFRARED),
            Self::Radio => (LinkPlan::RADIO, Timing::RADIO),
            Self::RadioCoarse => (
                LinkPlan::RADIO,
                Timing {
                    jitter_ns: 1_000.0,
                    ..Timing::RADIO
                },
            ),
        };
        let plan = LinkPlan {
            bound_ns: self.bound_ns(),
            ..plan
        };
        let rc = matches!(self, Self::InfraredRc);
        let mut air = Setting::new(Medium::single(loss), timing);
        air.copies = Some(Copies {
            share: 0.05,
            after_ns: (0, 2_000),
        });
        air.replays = Some(Copies {
            share: 0.000_1,
            after_ns: (20_000_000, 4_000_000_000),
        });
        air.error_bursts = Some(ErrorBursts {
            share: 0.01,
            bits: 12,
        });
        air.foreign = Some(Foreign {
            id: ID,
            other_id_per_s: 20.0,
            same_id_per_s: 0.05,
            noise_per_s: 5.0,
        });
        let oscillator = if rc {
            Oscillator::new(Parts {
                offset_ppm: -12_000.0,
                drift_ppm_s: 30.0,
                wander_ppm: 3.0,
                white_ppm: 0.0,
            })
        } else {
            Crystal::default().oscillator()
        };
        Flight {
            plan,
            air,
            oscillator,
            kind: if rc { Kind::RC } else { Kind::CRYSTAL },
        }
    }
}

struct Row {
    set: Set,
    loss: f64,
    burst: f64,
    flown: Flown,
}

impl Row {
    fn all() -> Vec<Self> {
        let mut all = Vec::new();
        for set in Set::ALL {
            for loss in LOSSES {
                for burst in BURSTS {
                    let flown = Flown::default();
                    all.push(Self {
                        set,
                        loss,
                        burst,
                        flown,
                    });
                }
            }
        }
        all
    }

    fn fly(self, touches: u64, seed: u64) -> Result<Self, Fault> {
        let law = if self.burst == 0.0 {
            Loss::independent(self.loss)
        } else {
            Loss::new(self.loss, self.burst)
        };
        let flown = self.set.flight(law?).fly(touches, seed)?;
        Ok(Self {
            flown: self.flown.and(flown),
            ..self
        })
    }
}

fn main() -> ExitCode {
    let wanted = std::env::args()
        .find_map(|word| word.parse().ok())
        .unwrap_or(1_000_000_u64);
    let begun = Instant::now();
    let mut rows = Row::all();
    let channels = rows.len() as u64;
    let mut left = wanted.div_ceil(channels);
    let mut seed = 0;
    loop {
        let each = left.min(ROUND);
        let flown: Result<Vec<Row>, Fault> = rows
            .into_par_iter()
            .enumerate()
            .map(|(k, row)| row.fly(each, seed + k as u64 + 1))
            .collect();
        rows = match flown {
            Ok(rows) => rows,
            Err(why) => {
                eprintln!("{why}");
                return ExitCode::from(2);
            }
        };
        left -= each;
        seed += channels;
        // Kept after every round: a long run may be cut.
        let broken = match told(&rows, begun.elapsed().as_secs()) {
            Ok(broken) => broken,
            Err(why) => {
                eprintln!("{RESULT}: {why}");
                return ExitCode::from(2);
            }
        };
        if left == 0 {
            println!("limits broken: {broken}");
            return ExitCode::from(u8::from(broken > 0));
        }
    }
}

/// Keeps what has been flown; how many limits are broken.
fn told(rows: &[Row], seconds: u64) -> std::io::Result<usize> {
    let sum = |of: fn(&Flown) -> u64| rows.iter().map(|row| of(&row.flown)).sum::<u64>();
    let (touches, ready) = (sum(|f| f.touches), sum(|f| f.under_ready));
    let never = [
        ("late with ready up", sum(|f| f.late)),
        ("told twice", sum(|f| f.twice)),
        ("beyond the stated bound", sum(|f| f.outside)),
        ("foreign or damaged frames used", sum(|f| f.foreign)),
        ("ran on after contact", sum(|f| f.ran_on)),
    ];
    let mut broken = never.iter().filter(|(_, count)| *count > 0).count();
    let mut table = format!(
        "# touches through head, air and receiver; none of five things may ever happen\n\
         # cargo bench --bench over_air -- {touches}\n\
         # {seconds} s; {touches} touches, {ready} of them under READY: each below {:.1e} a touch at 95 %\n",
        3.0 / ready as f64
    );
    for (what, count) in never {
        let _ = writeln!(table, "# {what}: {count}");
        println!(
            "{} {what}: {count}",
            if count == 0 { "holds " } else { "BROKEN" }
        );
    }
    table += "set,loss,burst,touches,under_ready,edge_mean_ns,edge_sd_ns,edge_max_ns,bound_max_ns,stop_max_ms,drops_per_h,latches_per_h,verdict\n";
    for row in rows {
        let flown = &row.flown;
        let (sd_limit, most_limit) = match row.set {
            Set::Infrared => (60.0, 500.0),
            Set::Radio => (250.0, 1_000.0),
            Set::RadioCoarse | Set::InfraredRc => (f64::INFINITY, 4_000.0),
        };
        let (sd, most) = (flown.edge.sd(), flown.edge_max_ns);
        let few = flown.edge.count() < 2;
        let holds = few || sd <= sd_limit && most <= most_limit;
        broken += usize::from(!holds);
        let hours = flown.seconds / 3_600.0;
        let _ = writeln!(
            table,
            "{:?},{},{},{},{},{:.1},{sd:.1},{most:.0},{:.0},{:.4},{:.2},{:.2},{}",
            row.set,
            row.loss,
            row.burst,
            flown.touches,
            flown.under_ready,
            flown.edge.mean(),
            flown.bound_max_ns,
            flown.stop_max_ns as f64 * 1e-6,
            flown.drops as f64 / hours,
            flown.latches as f64 / hours,
            if holds { "holds" } else { "BROKEN" },
        );
    }
    print!("{table}");
    std::fs::write(RESULT, table)?;
    Ok(broken)
}
