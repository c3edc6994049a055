//! The engine for light recordings: samples in, what each barrier has to say out.
//!
//! The core counts samples; here their instants become log time, each against the newest sample of
//! its line, so that neither an odd rate nor a clock that drifts adds up.

use trueonset::barrier::{Barrier, BarrierConfig, Levels, Optics, Seen};
use trueonset::onset::{Contact, Doubt, Event};
use trueonset::time::{FineInstant, Instant, Span, TickRate};

use super::clock::{instant, log_ns};
use super::engine::Happening;
use super::order::Lines;
use super::settings::Settings;
use crate::fault::{Fault, Place};
use crate::light::{LightLine, LightReader, LightRecord, Rate};

/// Ticks of the core's clock in a sample: with its 1/256 ticks, a 16 384th of one.
const TICKS: u64 = 64;

/// One line of the recording under replay.
struct Channel {
    name: String,
    config: BarrierConfig,
    barrier: Barrier,
    /// From counts to the 16 bits the core takes at most.
    shift: u8,
    rate: Rate,
    newest: LightRecord,
    first: u64,
    gaps: u64,
}

/// What a line of a recording was like.
#[derive(Debug, Clone)]
pub struct LightFacts<'a> {
    /// Its name.
    pub name: &'a str,
    /// Samples a second.
    pub rate_hz: u64,
    /// Samples read.
    pub samples: u64,
    /// Samples that are missing between them.
    pub missing: u64,
    /// State of the optics at the end.
    pub optics: Optics,
}

/// Replays samples through one core [`Barrier`] for each line of a recording.
pub struct LightEngine {
    settings: Settings,
    channels: Vec<Option<Channel>>,
    earliest_ns: i64,
    latest_ns: i64,
    samples: u64,
    crossings: [u64; 3],
}

impl LightEngine {
    /// An engine with no line yet.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            channels: Vec::new(),
            earliest_ns: i64::MAX,
            latest_ns: i64::MIN,
            samples: 0,
            crossings: [0; 3],
        }
    }

    /// Takes a batch; what happened is appended to `out`.
    ///
    /// # Errors
    /// A rate or a setting is out of the core's range.
    pub fn take(
        &mut self,
        batch: &[LightRecord],
        lines: &[LightLine],
        out: &mut Vec<Happening>,
    ) -> Result<(), Fault> {
        for record in batch {
            self.earliest_ns = self.earliest_ns.min(record.time_ns);
            self.latest_ns = self.latest_ns.max(record.time_ns);
            let index = record.line as usize;
            if self.channels.len() <= index {
                for line in self.channels.len()..=index {
                    let channel = lines.get(line).map(|info| self.channel(info, record));
                    self.channels.push(channel.transpose()?.flatten());
                }
            }
            let Some(Some(channel)) = self.channels.get_mut(index) else {
                continue;
            };
            self.samples += 1;
            let Some(event) = channel.sample(record) else {
                continue;
            };
            let (kind, edges) = match &event {
                Event::Touch(contact) => (0, contact.edges),
                Event::Release(contact) => (1, contact.edges),
                Event::Glitch(glitch) => (2, glitch.edges),
                _ => continue,
            };
            self.crossings[kind] += u64::from(edges);
            out.push(Happening {
                line: record.line,
                event,
                cutter: None,
            });
        }
        Ok(())
    }

    /// Takes a whole recording; `tell` is given what happened in each batch. A damage ends it early and is handed back.
    ///
    /// # Errors
    /// As of [`take`](Self::take).
    pub fn take_all(
        &mut self,
        reader: &mut LightReader,
        mut tell: impl FnMut(&Self, &mut Vec<Happening>),
    ) -> Result<Option<Fault>, Fault> {
        let mut happened = Vec::new();
        reader.each_batch(|batch, reader| {
            self.take(batch, reader.lines(), &mut happened)
                .map_err(|why| why.or_at(Place::File(reader.file().to_owned())))?;
            tell(self, &mut happened);
            happened.clear();
            Ok(())
        })
    }

    /// From the earliest to the latest sample, ns.
    #[must_use]
    pub fn duration_ns(&self) -> u64 {
        let between = self.latest_ns.saturating_sub(self.earliest_ns);
        between.max(0).unsigned_abs()
    }

    fn channel(&self, line: &LightLine, first: &LightRecord) -> Result<Option<Channel>, Fault> {
        if self.settings.wants(&line.name).is_none() {
            return Ok(None);
        }
        let Some(rate) = line.rate else {
            return Err(Fault::new(
                format!("one single sample of {}", line.name),
                "two samples or more, for a sampling rate",
                "record longer",
            ));
        };
        let hz = u32::try_from(rate.hz()).unwrap_or(u32::MAX);
        let ticks = TickRate::from_hz(hz.saturating_mul(TICKS as u32).max(1));
        let bits = self.settings.sample_bits;
        let config = ticks
            .map_err(|why| why.to_string())
            .and_then(|ticks| {
                BarrierConfig::new(ticks, hz, self.settings.hold_ns)
                    .and_then(|config| config.bits(bits.min(16)))
                    .and_then(|config| config.method(self.settings.method))
                    .map_err(|why| why.to_string())
            })
            .map_err(|why| {
                Fault::new(
                    format!(
                        "line {}, {hz} samples a second of {bits} bits, a hold of {} ns: {why}",
                        line.name, self.settings.hold_ns
                    ),
                    "1kHz to 16MHz, 8 to 24 bits, a hold of one sample or more",
                    "resample the recording, or state another hold or another [sampling] bits",
                )
            })?;
        Ok(Some(Channel {
            name: line.name.clone(),
            config,
            barrier: Barrier::new(Instant::from_ticks(0)),
            shift: bits.saturating_sub(16),
            rate,
            newest: *first,
            first: first.index,
            gaps: 0,
        }))
    }

    /// What is known of each line.
    #[must_use]
    pub fn facts(&self) -> Vec<LightFacts<'_>> {
        let channels = self.channels.iter().flatten();
        let facts = channels.map(|channel| LightFacts {
            name: &channel.name,
            rate_hz: channel.rate.hz(),
            samples: channel.newest.index - channel.first + 1 - channel.gaps,
            missing: channel.gaps,
            optics: channel.barrier.optics(&channel.config),
        });
        facts.collect()
    }

    /// Whether the light of line number `line` is between rest and dark.
    #[must_use]
    pub fn is_crossing(&self, line: u32) -> bool {
        let channel = self.channels.get(line as usize).and_then(Option::as_ref);
        channel.is_some_and(|channel| channel.barrier.crossing_since(&channel.config).is_some())
    }

    /// The levels line `name` is judged by at present, 1/256 count; none when it is not followed.
    #[must_use]
    pub fn levels(&self, name: &str) -> Option<Levels> {
        let mut channels = self.channels.iter().flatten();
        let channel = channels.find(|channel| channel.name == name)?;
        Some(channel.barrier.levels(&channel.config))
    }

    /// Where the samples and the crossings of the trip point went, as a sentence.
    #[must_use]
    pub fn account(&self) -> String {
        let gaps: u64 = self
            .channels
            .iter()
            .flatten()
            .map(|channel| channel.gaps)
            .sum();
        let [touches, releases, glitches] = self.crossings;
        format!(
            "samples in {}, missing {gaps}; crossings of touches {touches} + releases {releases} + glitches {glitches}",
            self.samples
        )
    }
}

impl Lines for LightEngine {
    fn name(&self, line: u32) -> &str {
        let channel = self.channels.get(line as usize).and_then(Option::as_ref);
        channel.map_or("", |channel| channel.name.as_str())
    }

    /// A crossing takes as long as it takes: nothing is certain before the end or the release.
    fn settled_until_ns(&self) -> i64 {
        let open = self.channels.iter().flatten().filter_map(|channel| {
            let since = channel.barrier.crossing_since(&channel.config)?;
            Some(channel.time_ns(since))
        });
        open.min()
            .map_or(self.latest_ns, |at| at.min(self.latest_ns))
    }
}

impl Channel {
    fn sample(&mut self, record: &LightRecord) -> Option<Event> {
        let taken = self.barrier.samples();
        let missing = (record.index - self.first).saturating_sub(taken);
        if missing > 0 {
            self.gaps += missing;
            self.barrier.gap(missing);
        }
        self.newest = *record;
        let counts = u16::try_from(record.counts >> self.shift).unwrap_or(u16::MAX);
        match self.barrier.sample(&self.config, counts)? {
            Seen::Event(Event::Touch(contact)) => Some(Event::Touch(self.in_ns(contact))),
            Seen::Event(Event::Release(contact)) => Some(Event::Release(self.in_ns(contact))),
            Seen::Event(Event::Glitch(mut glitch)) => {
                let width = glitch.width.ticks() as f64 / TICKS as f64 * self.rate.period_ns();
                glitch.first_edge = self.at(glitch.first_edge);
                glitch.last_edge = self.at(glitch.last_edge);
                glitch.width = Span::from_ticks(width as i64);
                Some(Event::Glitch(glitch))
            }
            _ => None,
        }
    }

    /// A contact of the sample clock on the clock of the recording.
    fn in_ns(&self, mut contact: Contact) -> Contact {
        contact.onset = self.fine(contact.onset);
        contact.balance = self.fine(contact.balance);
        contact.causal = self.fine(contact.causal);
        contact.first_edge = self.at(contact.first_edge);
        contact.last_edge = self.at(contact.last_edge);
        contact.confirmed = self.at(contact.confirmed);
        contact.doubt = contact.doubt.map(|doubt| {
            let ns = f64::from(doubt.sixteenths()) / TICKS as f64 * self.rate.period_ns();
            Doubt::from_sixteenths(ns.ceil().min(f64::from(u32::MAX)) as u32)
        });
        contact
    }

    /// Samples before the newest one, as ns before its time.
    fn fine(&self, at: FineInstant) -> FineInstant {
        let samples = (at.whole().ticks() as f64 + f64::from(at.part_256()) / 256.0) / TICKS as f64;
        let newest = (self.newest.index - self.first) as f64;
        let parts = (samples - newest) * self.rate.period_ns() * 256.0;
        let whole = (parts / 256.0).floor();
        let from = instant(self.newest.time_ns).saturating_add(Span::from_ticks(whole as i64));
        FineInstant::new(from, (parts - whole * 256.0) as i32)
    }

    fn at(&self, at: Instant) -> Instant {
        self.fine(FineInstant::new(at, 0)).nearest()
    }

    fn time_ns(&self, at: Instant) -> i64 {
        log_ns(self.at(at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::LightReader;
    use crate::log::Options;

    /// A blade in a recording of `period_ns`, its light a straight ramp round `middle_ns`.
    fn recording(period_ns: u64, middle_ns: f64, gap: std::ops::Range<u64>) -> String {
        let mut text = String::from("time_ns,line,counts\n");
        for k in 0..400_000_u64 {
            let at = k * period_ns;
            let share = ((at as f64 - middle_ns) / 5e6 + 0.5).clamp(0.0, 1.0);
            let wobble = [0, 2, 1, 3, 1, 0, 3, 2][(k * 7 % 8) as usize];
            if !gap.contains(&k) {
                let counts = (3_600.0 * (1.0 - share)) as u64 + wobble;
                text += &format!("{at},beam,{counts}\n");
            }
        }
        text
    }

    fn replay(text: String) -> (Vec<Happening>, LightEngine) {
        let mut reader = LightReader::from_read(
            std::io::Cursor::new(text.into_bytes()),
            "t",
            &Options::default(),
        )
        .unwrap();
        let mut engine = LightEngine::new(Settings {
            hold_ns: 100_000,
            ..Settings::default()
        });
        let mut happened = Vec::new();
        let damage =
            reader.each_batch(|batch, reader| engine.take(batch, reader.lines(), &mut happened));
        assert_eq!(damage, Ok(None));
        (happened, engine)
    }

    #[test]
    fn a_touch_stands_in_the_time_of_the_recording_whatever_its_rate() {
        for period_ns in [5_000, 7_001] {
            let middle_ns = 350_000.0 * period_ns as f64 + 1_234.5;
            let (happened, engine) = replay(recording(period_ns, middle_ns, 0..0));
            let [Happening {
                line: 0,
                event: Event::Touch(touch),
                ..
            }] = happened[..]
            else {
                panic!("{happened:?}");
            };
            let onset = log_ns(touch.onset.nearest()) as f64;
            // The wobble lifts the light by up to 1.5 counts of 3600 over 5 ms.
            assert!((onset - middle_ns).abs() < 2_500.0, "{onset} {middle_ns}");
            assert!(touch.flags.is_empty() && touch.doubt.is_some(), "{touch:?}");
            assert!(engine
                .account()
                .starts_with("samples in 400000, missing 0;"));
        }
    }

    #[test]
    fn missing_samples_are_counted_and_flagged_where_they_matter() {
        let middle_ns = 350_000.0 * 5_000.0;
        let (happened, engine) = replay(recording(5_000, middle_ns, 349_900..349_950));
        let Some(Happening {
            event: Event::Touch(touch),
            ..
        }) = happened.first()
        else {
            panic!("{happened:?}");
        };
        assert_eq!(touch.flags.to_string(), "gap");
        assert!(
            engine.account().contains("missing 50;"),
            "{}",
            engine.account()
        );
    }
}
