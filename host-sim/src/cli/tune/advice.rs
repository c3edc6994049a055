//! What `tune` tells: for people, for machines, as a configuration.

use serde_json::{json, Value};
use trueonset::barrier::Method;
use trueonset::lateness::{FeedMean, Lateness};

use super::{Calibration, Found};
use crate::cli::table::{short_ns, table};
use crate::quantity::{show_feed_nm_s, show_frequency_hz, show_time_ns};
use crate::report::CAUTION;
use crate::tune::{source, Calibrated, Rung};

fn time(ns: u64) -> String {
    show_time_ns(i64::try_from(ns).unwrap_or(i64::MAX))
}

fn word(method: Method) -> &'static str {
    match method {
        Method::Area => "area",
        Method::Matched => "matched",
    }
}

impl Found {
    /// The answer in a sentence.
    pub(super) fn sentence(&self) -> String {
        let advised = &self.advised;
        let method = advised
            .method
            .map_or(String::new(), |method| format!(", method {}", word(method)));
        let cost = advised.own().map_or(String::new(), |rung| {
            format!(
                ": {} touches, {} missed and {} false against {}",
                rung.touches, rung.missed, rung.spurious, advised.against
            )
        });
        let (least, most) = advised.fits_ns;
        format!(
            "Hold {}{method}{cost}; holds from {} to {} fit these logs.",
            time(advised.hold_ns),
            time(least),
            time(most)
        )
    }

    /// What the logs show: names and values.
    pub(super) fn shown(&self) -> Vec<(String, String)> {
        let advised = &self.advised;
        let long = advised.duration_ns;
        let mut all: Vec<(&str, String)> = Vec::new();
        if let Some(light) = advised.light {
            all.push((
                "noise",
                format!(
                    "{:.2} counts, on {} counts of light at rest",
                    light.noise_counts, light.rest_counts
                ),
            ));
            all.push((
                "samples",
                format!("{} a second of {} bits", light.rate_hz, light.bits),
            ));
        } else {
            all.push(("noise", self.noise()));
            let (middle, most) = advised.edges;
            all.push((
                "chatter",
                format!(
                    "{middle} edges a touch at the median, {most} at most; the longest lasts {}",
                    short_ns(advised.chatter_ns)
                ),
            ));
            let hz = show_frequency_hz(advised.bandwidth_hz);
            all.push((
                "bandwidth",
                match advised.edge_ns {
                    Some(edge_ns) => format!(
                        "{hz}, as the chatter tells: one edge stands for {:.3} us of noise",
                        edge_ns / 1e3
                    ),
                    None => format!(
                        "{hz}, as stated or assumed: no touch of nine edges or more tells it"
                    ),
                },
            ));
        }
        if let Some(rung) = advised.own() {
            let longest = if rung.glitches > 0 {
                format!(", the longest {}", short_ns(rung.longest_glitch_ns))
            } else {
                String::new()
            };
            all.push((
                "glitches",
                format!("{} in {}{longest}", rung.glitches, short_ns(long)),
            ));
        }
        all.push((
            "method",
            match advised.method {
                Some(method) => format!(
                    "{}, the smaller stated doubt of those that miss nothing",
                    word(method)
                ),
                None => "balance point of all edges of a touch".to_owned(),
            },
        ));
        all.into_iter()
            .map(|(name, value)| (name.to_owned(), value))
            .collect()
    }

    fn noise(&self) -> String {
        let Some((least, most)) = self.advised.noise_ns else {
            return "not told by these logs: no touch of nine edges or more".to_owned();
        };
        let time = if least < most {
            format!("{:.3} to {:.3} us", least / 1e3, most / 1e3)
        } else {
            format!("{:.3} us", least / 1e3)
        };
        let length = self
            .advised
            .noise_nm
            .map_or("; as a length it is that times the feed".to_owned(), |nm| {
                format!(", {nm:.1} nm at the median")
            });
        format!("edges scatter about the onset by {time}{length}")
    }

    /// Header and rows of all that was tried.
    pub(super) fn tried(&self) -> Vec<Vec<String>> {
        let header = [
            "hold",
            "method",
            "touches",
            "missed",
            "false",
            "short hold",
            "glitches",
            "longest glitch",
            "told after",
            "doubt ns",
            "",
        ];
        let mut rows = vec![header.map(str::to_owned).to_vec()];
        let is_own = |rung: &Rung| {
            (rung.hold_ns, rung.method) == (self.advised.hold_ns, self.advised.method)
        };
        rows.extend(self.advised.rungs.iter().map(|rung| {
            vec![
                time(rung.hold_ns),
                rung.method.map_or("edges", word).to_owned(),
                rung.touches.to_string(),
                rung.missed.to_string(),
                rung.spurious.to_string(),
                rung.short.to_string(),
                rung.glitches.to_string(),
                short_ns(rung.longest_glitch_ns),
                short_ns(rung.told_ns as u64),
                format!("{:.0}", rung.doubt_ns),
                if is_own(rung) { "advised" } else { "" }.to_owned(),
            ]
        }));
        rows
    }

    /// The settings as Rust source.
    pub(super) fn source(&self) -> String {
        let late = match &self.calibration {
            Calibration::Edges(calibrated) => Some(&calibrated.lateness),
            _ => None,
        };
        let rows = self.advised.rows.iter().flatten();
        let own = rows
            .map(|row| row.line.as_str())
            .next()
            .and_then(|line| self.settings.wants(line));
        source(&self.advised, own.unwrap_or(self.settings.touched), late)
    }

    /// For people.
    pub(super) fn people(&self) -> String {
        let shown: Vec<String> = self
            .shown()
            .iter()
            .map(|(name, value)| format!("{name:<9}  {value}"))
            .collect();
        let calibration = match &self.calibration {
            Calibration::None => String::new(),
            Calibration::Edges(calibrated) => format!("{}\n", page(calibrated)),
            Calibration::Light(feeds) => format!(
                "{}\n\nLight, not edges: there is no comparator to calibrate.\n\n",
                table(&late_light(feeds))
            ),
        };
        format!(
            "{}\n\n{}\n\n{}\n\n{calibration}The settings in Rust:\n\n{}\n{CAUTION}\n",
            self.sentence(),
            table(&self.tried()),
            shown.join("\n"),
            self.source()
        )
    }

    /// For machines.
    pub(super) fn document(&self) -> Value {
        let advised = &self.advised;
        let rung = |rung: &Rung| {
            json!({
                "hold_ns": rung.hold_ns,
                "method": rung.method.map(word),
                "touches": rung.touches,
                "missed": rung.missed,
                "false_touches": rung.spurious,
                "short_hold": rung.short,
                "glitches": rung.glitches,
                "longest_glitch_ns": rung.longest_glitch_ns,
                "told_after_ns": rung.told_ns.round(),
                "doubt_ns": rung.doubt_ns.round(),
            })
        };
        let mut all = match &self.calibration {
            Calibration::None => json!({}),
            Calibration::Edges(calibrated) => document(calibrated),
            Calibration::Light(feeds) => {
                json!({ "feeds": feeds.iter().map(feed_json).collect::<Vec<_>>() })
            }
        };
        all["settings"] = json!({
            "hold_ns": advised.hold_ns,
            "hold_least_ns": advised.fits_ns.0,
            "hold_most_ns": advised.fits_ns.1,
            "method": advised.method.map(word),
            "bandwidth_hz": advised.light.is_none().then_some(advised.bandwidth_hz),
            "bandwidth_learned": advised.bandwidth_learned,
            "edge_ns": advised.edge_ns,
            "noise_ns": advised.noise_ns.map(|(least, most)| [least, most]),
            "noise_nm": advised.noise_nm,
            "noise_counts": advised.light.map(|light| light.noise_counts),
            "chatter_edges": advised.light.is_none().then_some(advised.edges.1),
            "chatter_ns": advised.light.is_none().then_some(advised.chatter_ns),
            "against": advised.against,
            "holds": advised.own().map(rung),
        });
        all["tried"] = advised.rungs.iter().map(rung).collect();
        all["rust"] = json!(self.source());
        all
    }

    /// For `replay --config`.
    pub(super) fn toml(&self) -> String {
        let advised = &self.advised;
        if let Calibration::Edges(calibrated) = &self.calibration {
            return calibrated.toml(self.settings.hold_ns, self.settings.bandwidth_hz);
        }
        let hold_ns = advised.hold_ns;
        match (advised.light, advised.method) {
            (Some(light), Some(method)) => format!(
                "# Found by tune.\n[onset]\nhold = \"{hold_ns}ns\"\nmethod = \"{}\"\n\n[sampling]\nbits = {}\n",
                word(method),
                light.bits
            ),
            _ => format!(
                "# Found by tune.\n[onset]\nhold = \"{hold_ns}ns\"\n\n[barrier]\nbandwidth = \"{}Hz\"\n",
                advised.bandwidth_hz
            ),
        }
    }
}

/// Header and rows of how late light is at each feed.
pub(super) fn late_light(feeds: &[FeedMean]) -> Vec<Vec<String>> {
    let mut rows = vec![["feed", "pairs", "late nm", "± nm", ""]
        .map(str::to_owned)
        .to_vec()];
    rows.extend(feeds.iter().map(|mean| {
        let mut row = seen(mean);
        row.push(String::new());
        row
    }));
    rows
}

fn nm(pm: f64) -> String {
    format!("{:.2}", pm / 1e3)
}

/// How sure a mean is, pm; one pair alone says nothing of it.
fn known_pm(mean: &FeedMean) -> Option<f64> {
    (mean.doubt_pm != u32::MAX).then(|| f64::from(mean.doubt_pm))
}

/// A feed and what was seen at it.
fn seen(mean: &FeedMean) -> Vec<String> {
    vec![
        show_feed_nm_s(u64::from(mean.feed_nm_s)),
        mean.pairs.to_string(),
        nm(mean.half_pm as f64),
        known_pm(mean).map_or("-".to_owned(), nm),
    ]
}

/// The same for machines.
fn feed_json(mean: &FeedMean) -> serde_json::Value {
    json!({
        "feed_nm_s": mean.feed_nm_s,
        "pairs": mean.pairs,
        "late_nm": mean.half_pm as f64 / 1e3,
        "doubt_nm": known_pm(mean).map(|pm| pm / 1e3),
    })
}

/// What the fit leaves at a feed, pm.
fn left_pm(calibrated: &Calibrated, mean: &FeedMean) -> f64 {
    mean.half_pm as f64 - calibrated.fitted_nm(mean.feed_nm_s) * 1e3
}

/// Header and rows of what the calibration saw, fitted and left.
pub(super) fn fitted(calibrated: &Calibrated) -> Vec<Vec<String>> {
    let header = [
        "feed",
        "pairs",
        "late nm",
        "± nm",
        "fitted nm",
        "left nm",
        "",
    ];
    let mut rows = vec![header.map(str::to_owned).to_vec()];
    for mean in &calibrated.feeds {
        let mut row = seen(mean);
        row.extend([
            format!("{:.2}", calibrated.fitted_nm(mean.feed_nm_s)),
            nm(left_pm(calibrated, mean)),
            String::new(),
        ]);
        rows.push(row);
    }
    rows
}

/// For people.
fn page(calibrated: &Calibrated) -> String {
    format!(
        "{}\n\n{}\n",
        table(&fitted(calibrated)),
        constants(calibrated).join("\n")
    )
}

/// The constants in sentences.
pub(super) fn constants(calibrated: &Calibrated) -> Vec<String> {
    let late = &calibrated.lateness;
    let most = calibrated
        .feeds
        .iter()
        .map(|mean| left_pm(calibrated, mean).abs())
        .fold(0.0, f64::max);
    vec![
        format!(
            "delay {:.3} ± {:.3} us of filter and comparator, a constant time",
            late.delay_ps() as f64 / 1e6,
            f64::from(late.delay_doubt_ps()) / 1e6
        ),
        format!(
            "offset {} ± {} nm, half the hysteresis as travel of the blade",
            nm(f64::from(late.offset_pm())),
            nm(f64::from(late.offset_doubt_pm()))
        ),
        turn(late),
        match calibrated.chatter_ns {
            0 => "no touch of nine edges or more: what one edge of chatter stands for is not known".to_owned(),
            ns => format!("one edge of chatter stands for {:.3} us of noise", ns as f64 / 1e3),
        },
        format!("left by the fit: {} nm at most, over the feeds above only", nm(most)),
        "a truth that is late as a whole, or states a wrong feed, would look like a delay: check it apart".to_owned(),
    ]
}

/// Where the offset turns from time into place, and whether that was found.
fn turn(late: &Lateness) -> String {
    let at = show_feed_nm_s(u64::from(late.turn_nm_s()));
    if late.is_turn_assumed() {
        return format!(
            "these feeds do not show where it turns from a constant time into a constant place; {at} is assumed:\n\
             state [approach] feed, within the feeds above, or no offset is taken off; three feeds or more, from\n\
             below to above the turn, and more pairs find it"
        );
    }
    format!(
        "it is a constant time of {:.3} us below about {at}, a constant place above",
        (late.at_feed(0).ps - late.delay_ps()) as f64 / 1e6
    )
}

/// For machines.
fn document(calibrated: &Calibrated) -> serde_json::Value {
    let late = &calibrated.lateness;
    let feeds: Vec<_> = calibrated
        .feeds
        .iter()
        .map(|mean| {
            let mut feed = feed_json(mean);
            feed["fitted_nm"] = json!(calibrated.fitted_nm(mean.feed_nm_s));
            feed
        })
        .collect();
    json!({
        "delay_ns": late.delay_ps() as f64 / 1e3,
        "delay_doubt_ns": f64::from(late.delay_doubt_ps()) / 1e3,
        "offset_nm": f64::from(late.offset_pm()) / 1e3,
        "offset_doubt_nm": f64::from(late.offset_doubt_pm()) / 1e3,
        "chatter_ns": calibrated.chatter_ns,
        "together": f64::from(late.together_permille()) / 1e3,
        "turn_nm_s": late.turn_nm_s(),
        "turn_found": !late.is_turn_assumed(),
        "feeds": feeds,
    })
}
