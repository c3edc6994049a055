//! A wired probe: edges found on the board itself, told by the same lines without the air.
//!
//! ```text
//!  barrier or onset line ─▶ edge, observation ─▶ playout at contact + D ─▶ lines
//! ```
//!
//! Hand in every confirmed edge with its onset, then an [`observation`](Wired::observe) of what the probe
//! shows now and whether [`health`](crate::health) vouches for it; [`poll`](Wired::poll) until
//! nothing more leaves, then set the outputs to [`lines`](Wired::lines). READY falls when no observation
//! came for `dead`, so a loop or a converter that stands cannot keep it. Contact that is being
//! confirmed for longer stops the line at D after the last observation that did not show it: take D longer
//! than hold, chatter and the time from observation to observation together.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.

use crate::edge::Level;
use crate::frame::Contact;
use crate::lines::{Causes, Decision, Latch, Obstacles, Rearmed};
use crate::playout::{EdgeRemarks, PlayedEdge, Playout};
use crate::time::{Instant, TickRate};

/// Longest time that re-arms may be held apart, ns.
const HOUR_NS: u64 = 3_600_000_000_000;

/// A wired probe as planned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct WiredPlan {
    /// D: from contact to the edge of the output, ns. Take it longer than hold and chatter together.
    pub delay_ns: u32,
    /// Longest time from observation to observation that keeps READY, ns.
    pub dead_ns: u32,
    /// Longest time from poll to poll that is not late, ns.
    pub poll_ns: u32,
    /// Observations of open contact in a row before a re-arm is granted.
    pub open_observations: u8,
    /// From one rise of the re-arm wire to the next that counts, ns.
    pub lock_ns: u64,
}

impl WiredPlan {
    /// Contact to output in 5 ms, for holds of up to 4 ms.
    pub const USUAL: Self = Self {
        delay_ns: 5_000_000,
        dead_ns: 2_000_000,
        poll_ns: 100_000,
        open_observations: 8,
        lock_ns: 1_000_000_000,
    };
}

/// The rule that a plan breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum WiredConfigError {
    /// No delay of a tick, or more than a second.
    Delay,
    /// A loop that stands must be noticed before a touch is due.
    DeadNotBelowDelay,
    /// No observation of open contact asked for.
    Observations,
    /// Less than a tick from poll to poll, which no loop can do; or more than the silence that
    /// keeps READY.
    Poll,
    /// Re-arms are not held apart for a tick at least, or for more than an hour.
    Lock,
}

impl core::fmt::Display for WiredConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Delay => "delay is not within a tick and 1 s",
            Self::DeadNotBelowDelay => {
                "dead is 0 or not below delay: a loop that stands could hide a touch"
            }
            Self::Observations => "open observations are 0: a re-arm must see contact open",
            Self::Poll => "poll is not within a tick and dead",
            Self::Lock => "lock is not within a tick and an hour",
        })
    }
}

impl core::error::Error for WiredConfigError {}

/// A plan that keeps its promises, in ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WiredConfig {
    delay: u64,
    dead: u64,
    poll: u64,
    lock: u64,
    open: u8,
}

impl WiredConfig {
    /// Checks `plan` for a board that counts ticks of `rate`.
    ///
    /// # Errors
    /// The first broken rule, [`WiredConfigError`].
    pub const fn new(rate: TickRate, plan: WiredPlan) -> Result<Self, WiredConfigError> {
        let delay = rate.ticks_from_ns(plan.delay_ns as u64);
        let dead = rate.ticks_from_ns(plan.dead_ns as u64);
        if delay == 0 || plan.delay_ns > 1_000_000_000 {
            return Err(WiredConfigError::Delay);
        }
        if dead == 0 || dead >= delay {
            return Err(WiredConfigError::DeadNotBelowDelay);
        }
        if plan.open_observations == 0 {
            return Err(WiredConfigError::Observations);
        }
        let poll = rate.ticks_from_ns(plan.poll_ns as u64);
        if poll == 0 || poll > dead {
            return Err(WiredConfigError::Poll);
        }
        let lock = rate.ticks_from_ns(plan.lock_ns);
        if lock == 0 || plan.lock_ns > HOUR_NS {
            return Err(WiredConfigError::Lock);
        }
        Ok(Self {
            delay,
            dead,
            poll,
            lock,
            open: plan.open_observations,
        })
    }
}

/// The board's side of a wired probe.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wired {
    latch: Latch,
    playout: Playout,
    /// Number of the newest edge; its lowest bit is its level. `None` before the first observation.
    number: Option<u8>,
    /// The output's own level: contact, as far as it has left.
    touched: bool,
    /// The newest observation, where it was healthy.
    healthy: Option<Instant>,
    fault: bool,
    /// When it was looked at last, healthy or not.
    observed: Option<Instant>,
    /// Since when an edge may be under confirmation: the last look that did not show it.
    between: Option<Instant>,
    /// Whether the lines were asked for before.
    asked: bool,
}

impl Wired {
    /// At power-up: stop.
    #[must_use]
    pub fn new() -> Self {
        Self {
            latch: Latch::new(),
            playout: Playout::default(),
            number: None,
            touched: true,
            healthy: None,
            fault: false,
            observed: None,
            between: None,
            asked: false,
        }
    }

    /// At `now`, a confirmed edge to `touched`, which happened at `onset` within `bound` ticks. One
    /// that repeats the level before it latches the line: an edge was lost. So does one that is
    /// still to come; it is taken as happening now.
    pub fn edge(&mut self, now: Instant, touched: bool, onset: Instant, bound: u32) {
        if onset > now {
            self.latch.set(Causes::TIME);
        }
        let onset = onset.min(now);
        // Before the first observation there is nothing that could be wrong.
        let before = self.number.unwrap_or(u8::from(!touched));
        let again = before & 1 == u8::from(touched);
        let number = if again { before + 2 } else { before + 1 } & 31;
        if again {
            self.latch.set(Causes::SEQUENCE);
        }
        self.number = Some(number);
        if !self
            .playout
            .take(number, onset, bound, EdgeRemarks::NONE, None)
        {
            self.latch.set(Causes::FULL);
        }
    }

    /// What the probe shows at `now`, and whether health vouches for it. After the edges of that
    /// pass: contact that they do not explain latches the line.
    pub fn observe(&mut self, now: Instant, contact: Contact, healthy: bool) {
        self.healthy = healthy.then_some(now);
        self.fault = contact == Contact::Fault;
        self.latch.observe(contact == Contact::Open);
        let level = match contact {
            Contact::Fault => {
                self.latch.set(Causes::FAULT);
                None
            }
            Contact::Between => None,
            Contact::Open => Some(0),
            Contact::Touched => Some(1),
        };
        if contact == Contact::Between {
            let before = self.observed.unwrap_or(now).min(now);
            self.between.get_or_insert(before);
        } else {
            self.between = None;
        }
        self.observed = Some(now);
        let Some(level) = level else { return };
        match self.number {
            None => {
                self.number = Some(level);
                self.touched = level == 1;
            }
            Some(number) if number & 1 != level => {
                // An edge was lost. What is seen is taken over, so that it can be armed again.
                self.latch.set(Causes::SEQUENCE);
                self.number = Some(number.wrapping_add(1) & 31);
                self.touched |= level == 1;
            }
            Some(_) => {}
        }
    }

    /// Whether a healthy observation is not too long ago.
    fn is_live(&self, config: &WiredConfig, now: Instant) -> bool {
        let fresh = |at: Instant| now.ticks_since(at) <= config.dead;
        self.healthy.is_some_and(fresh)
    }

    fn is_ready(&self, config: &WiredConfig, now: Instant) -> bool {
        self.is_live(config, now) && self.number.is_some() && self.latch.causes().is_empty()
    }

    /// When the next edge leaves, or contact that is being confirmed has to stop the line.
    fn due(&self, config: &WiredConfig) -> Option<Instant> {
        let delayed = |at: Instant| at.later(config.delay);
        let patience = self.between.map(delayed);
        let edge = self.playout.next_due(config.delay);
        edge.into_iter().chain(patience).min()
    }

    /// The next edge that leaves by `now`; call until there is none.
    pub fn poll(&mut self, config: &WiredConfig, now: Instant) -> Option<PlayedEdge> {
        let left = self.playout.leave(config.delay, now)?;
        let edge = left.leaving(now, config.poll, self.is_ready(config, now));
        if edge.touched {
            self.touched = true;
            if edge.remarks.has(EdgeRemarks::LATE) {
                self.latch.set(Causes::TIME);
            }
        } else if self.latch.causes().is_empty() {
            self.touched = false;
        }
        Some(edge)
    }

    /// What the outputs are to say from `now` on; the first answer is stop.
    #[must_use]
    pub fn lines(&mut self, config: &WiredConfig, now: Instant) -> Decision {
        let first = !core::mem::replace(&mut self.asked, true);
        let due = self.due(config);
        let overdue = due.is_some_and(|due| due <= now);
        let Some(observation) = self
            .healthy
            .filter(|_| !first && !overdue && self.is_ready(config, now))
        else {
            return Decision::STOP;
        };
        let dead = observation.later(config.dead);
        let due = due.map_or(dead, |due| due.earlier(1));
        Decision {
            ready: true,
            run: !self.touched,
            valid_until: Some(dead.min(due)),
        }
    }

    /// When to poll again at the latest.
    #[must_use]
    pub fn deadline(&self, config: &WiredConfig) -> Option<Instant> {
        let dead = |at: Instant| at.later(config.dead + 1);
        let dead = self.healthy.map(dead);
        self.due(config).into_iter().chain(dead).min()
    }

    /// The level of the re-arm wire; what came of it, where it rose. One that cannot be read is
    /// latched as a fault, and counts as a rise only once it was seen low again.
    pub fn rearm(&mut self, config: &WiredConfig, now: Instant, wire: Level) -> Option<Rearmed> {
        let obstacles = Obstacles {
            live: self.is_live(config, now),
            edge_pending: !self.playout.is_empty(),
            cause_persists: self.fault,
        };
        let came = self
            .latch
            .wire(wire, now, config.lock, config.open, obstacles);
        if came == Some(Ok(())) {
            self.touched = self.number.is_none_or(|number| number & 1 == 1);
        }
        came
    }

    /// Latches the line at stop, for a cause of the caller's own.
    pub fn latch(&mut self, cause: Causes) {
        self.latch.set(cause);
    }

    /// Why the line is latched at stop.
    #[must_use]
    pub const fn causes(&self) -> Causes {
        self.latch.causes()
    }
}

impl Default for Wired {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawn;
    use crate::lines::RearmRefused;

    const fn at(ticks: u64) -> Instant {
        Instant::from_ticks(ticks)
    }

    /// Ticks are microseconds: D 5000, dead 2000, poll 100.
    fn config() -> WiredConfig {
        WiredConfig::new(TickRate::from_hz(1_000_000).unwrap(), WiredPlan::USUAL).unwrap()
    }

    #[test]
    fn a_touch_stops_the_line_at_contact_and_delay() {
        let (config, mut wired) = (config(), Wired::new());
        for now in [0, 1_000] {
            wired.observe(at(now), Contact::Open, true);
            let first = now == 0;
            assert_eq!(wired.lines(&config, at(now)).run, !first);
        }
        // Contact at 2000, confirmed 1000 later.
        wired.observe(at(2_000), Contact::Between, true);
        assert!(wired.lines(&config, at(2_000)).run);
        wired.edge(at(3_000), true, at(2_010), 3);
        wired.observe(at(3_000), Contact::Touched, true);
        for now in (3_000..7_010).step_by(10) {
            wired.observe(at(now), Contact::Touched, true);
            assert_eq!(wired.poll(&config, at(now)), None);
            let lines = wired.lines(&config, at(now));
            assert!(
                lines.run && lines.valid_until < Some(at(7_010)),
                "{now} {lines:?}"
            );
        }
        let edge = wired.poll(&config, at(7_010)).unwrap();
        assert_eq!(
            (edge.onset, edge.bound, edge.touched),
            (Some(at(2_010)), 3, true)
        );
        assert_eq!(edge.remarks, EdgeRemarks::NONE);
        let lines = wired.lines(&config, at(7_010));
        assert!(lines.ready && !lines.run);
    }

    #[test]
    fn confirming_for_longer_than_the_delay_stops() {
        let (config, mut wired) = (config(), Wired::new());
        wired.observe(at(0), Contact::Open, true);
        let _ = wired.lines(&config, at(0));
        for now in 1..10_000 {
            wired.observe(
                at(now),
                if now < 100 {
                    Contact::Open
                } else {
                    Contact::Between
                },
                true,
            );
            // From the last look that did not show it.
            assert_eq!(wired.lines(&config, at(now)).run, now < 5_099, "{now}");
        }
    }

    #[test]
    fn a_standing_loop_and_an_unsound_probe_drop_ready_without_a_latch() {
        let (config, mut wired) = (config(), Wired::new());
        wired.observe(at(0), Contact::Open, true);
        let _ = wired.lines(&config, at(0));
        let lines = wired.lines(&config, at(2_000));
        assert!(lines.ready && lines.valid_until == Some(at(2_000)));
        assert_eq!(wired.lines(&config, at(2_001)), Decision::STOP);
        wired.observe(at(2_002), Contact::Open, false);
        assert_eq!(wired.lines(&config, at(2_002)), Decision::STOP);
        wired.observe(at(2_003), Contact::Open, true);
        assert!(wired.lines(&config, at(2_003)).run && wired.causes().is_empty());
    }

    #[test]
    fn late_lost_and_faulty_latch_until_a_rise_of_the_wire() {
        for cause in [Causes::TIME, Causes::SEQUENCE, Causes::FAULT] {
            let (config, mut wired) = (config(), Wired::new());
            wired.observe(at(0), Contact::Open, true);
            let mut contact = Contact::Touched;
            if cause == Causes::TIME {
                wired.edge(at(1_000), true, at(10), 0);
                let edge = wired.poll(&config, at(5_111)).unwrap();
                assert!(edge.remarks.has(EdgeRemarks::LATE));
            } else if cause == Causes::FAULT {
                contact = Contact::Fault;
            }
            // A contact that no edge explains.
            wired.observe(at(6_000), contact, true);
            assert_eq!(wired.causes(), cause);
            if cause != Causes::SEQUENCE {
                wired.observe(at(6_000), contact, true);
            }
            assert_eq!(wired.rearm(&config, at(6_000), Level::Low), None);
            assert_eq!(
                wired.rearm(&config, at(6_001), Level::High),
                Some(Err(RearmRefused::NotOpen))
            );
            if cause == Causes::TIME {
                wired.edge(at(6_200), false, at(6_100), 0);
                assert!(wired.poll(&config, at(11_100)).is_some());
            }
            let later = 2_000_000;
            // The first may be another surprise.
            for k in 0..9 {
                wired.observe(at(later + k), Contact::Open, true);
            }
            assert_eq!(wired.rearm(&config, at(later + 9), Level::Low), None);
            assert_eq!(
                wired.rearm(&config, at(later + 10), Level::High),
                Some(Ok(()))
            );
            let _ = wired.lines(&config, at(later + 10));
            assert!(wired.lines(&config, at(later + 11)).run, "{cause:?}");
        }
    }

    #[test]
    fn rules_have_their_names() {
        use WiredConfigError as E;
        let refused = |change: &dyn Fn(&mut WiredPlan)| {
            let mut plan = WiredPlan::USUAL;
            change(&mut plan);
            WiredConfig::new(TickRate::from_hz(1_000_000).unwrap(), plan).err()
        };
        assert_eq!(refused(&|_| {}), None);
        assert_eq!(refused(&|plan| plan.delay_ns = 400), Some(E::Delay));
        assert_eq!(
            refused(&|plan| plan.dead_ns = 5_000_000),
            Some(E::DeadNotBelowDelay)
        );
        assert_eq!(
            refused(&|plan| plan.dead_ns = 0),
            Some(E::DeadNotBelowDelay)
        );
        assert_eq!(
            refused(&|plan| plan.open_observations = 0),
            Some(E::Observations)
        );
        for poll_ns in [0, 499, 2_000_500] {
            assert_eq!(refused(&|plan| plan.poll_ns = poll_ns), Some(E::Poll));
        }
        for lock_ns in [0, 499, HOUR_NS + 1] {
            assert_eq!(refused(&|plan| plan.lock_ns = lock_ns), Some(E::Lock));
        }
    }

    /// Any calls in any order, any times: RUN never stands past a touch that is due.
    #[test]
    fn no_calls_lead_astray() {
        let mut next = drawn::numbers(11);
        let (config, mut wired) = (config(), Wired::new());
        let mut touch: Option<u64> = None;
        let (mut now, mut tried, mut ran) = (0_u64, 0, 0);
        for _ in 0..200_000 {
            now = if next() % 20_000 == 0 {
                // Time slips back, or on.
                (now + next() % 20_000_000).saturating_sub(10_000_000)
            } else {
                now.saturating_add(next() % 300)
            };
            // Mostly as it should be, so that it runs now and then.
            let odd = next() % 1_000 == 0;
            while let Some(due) = wired.playout.next_due(config.delay).filter(|_| !odd) {
                if due > at(now) || wired.poll(&config, due).is_none() {
                    break;
                }
            }
            match next() % 240 {
                0 => {
                    let onset = now.saturating_sub(next() % 3_000);
                    let touched = odd ^ (wired.number.is_some_and(|number| number & 1 == 0));
                    let due = onset.saturating_add(5_000);
                    touch = touched.then_some(touch.unwrap_or(due).min(due));
                    wired.edge(at(now), touched, at(onset), (next() % 9) as u32);
                }
                1..=80 => {
                    let contact = [
                        Contact::Open,
                        Contact::Touched,
                        Contact::Between,
                        Contact::Fault,
                    ];
                    let shown = wired.number.map_or(0, |number| usize::from(number & 1));
                    let contact = contact[if odd { (next() % 4) as usize } else { shown }];
                    touch = touch.filter(|_| contact != Contact::Open);
                    wired.observe(at(now), contact, !odd);
                }
                81..=120 => while wired.poll(&config, at(now)).is_some() {},
                121..=140 => {
                    // A person; one who plays with the button arms nothing.
                    let _ = wired.rearm(&config, at(now), Level::Low);
                    if now > tried + 1_000_000 || next() % 1_000 == 0 {
                        let _ = wired.rearm(&config, at(now), Level::High);
                        tried = now;
                    }
                }
                141..=150 => {
                    let _ = wired.deadline(&config);
                }
                _ => {
                    let lines = wired.lines(&config, at(now));
                    if wired
                        .playout
                        .next_due(config.delay)
                        .is_some_and(|due| due <= at(now))
                    {
                        assert_eq!(lines, Decision::STOP);
                    }
                    assert!(!lines.run || lines.ready && lines.valid_until >= Some(at(now)));
                    if lines.run {
                        ran += 1;
                        assert!(touch.is_none_or(|due| now < due), "{touch:?} {now}");
                    }
                }
            }
        }
        assert!(ran > 1_000, "{ran}");
    }

    /// The look before contact is what the delay counts from, however far apart looks are.
    #[test]
    fn contact_under_confirmation_stops_the_line_in_time_however_seldom_it_is_looked_at() {
        let config = config();
        for apart in [100, 500, 1_000, 1_900] {
            let mut wired = Wired::new();
            let contact = 10_001;
            let (mut now, mut ran) = (0, 0);
            while now < 30_000 {
                let shows = if now < contact {
                    Contact::Open
                } else {
                    Contact::Between
                };
                wired.observe(at(now), shows, true);
                let lines = wired.lines(&config, at(now));
                if lines.run {
                    ran = lines.valid_until.unwrap().ticks();
                }
                now += apart;
            }
            assert!((contact..=contact + 5_000).contains(&ran), "{apart}: {ran}");
        }
    }

    #[test]
    fn an_onset_still_to_come_latches_and_blocks_nothing() {
        let (config, mut wired) = (config(), Wired::new());
        wired.observe(at(0), Contact::Open, true);
        let _ = wired.lines(&config, at(0));
        wired.edge(at(10), true, at(60_000_000), 0);
        assert_eq!(wired.causes(), Causes::TIME);
        wired.observe(at(20), Contact::Touched, true);
        assert!(!wired.lines(&config, at(20)).run);
        assert!(wired.poll(&config, at(5_010)).is_some());
    }

    #[test]
    fn a_wire_that_cannot_be_read_latches_and_its_return_is_no_rise() {
        let (config, mut wired) = (config(), Wired::new());
        for now in (0..20_000).step_by(1_000) {
            wired.observe(at(now), Contact::Open, true);
            let _ = wired.lines(&config, at(now));
        }
        assert_eq!(wired.rearm(&config, at(19_001), Level::Low), None);
        assert!(wired.lines(&config, at(19_001)).run);
        assert_eq!(wired.rearm(&config, at(19_002), Level::Unknown), None);
        assert_eq!(wired.causes(), Causes::FAULT);
        assert_eq!(wired.lines(&config, at(19_002)), Decision::STOP);
        for now in (20_000..40_000).step_by(1_000) {
            wired.observe(at(now), Contact::Open, true);
            assert_eq!(wired.rearm(&config, at(now), Level::High), None);
        }
        assert_eq!(wired.rearm(&config, at(40_000), Level::Low), None);
        assert_eq!(wired.rearm(&config, at(40_001), Level::High), Some(Ok(())));
    }

    #[test]
    fn a_release_that_was_lost_can_be_armed_again() {
        let (config, mut wired) = (config(), Wired::new());
        wired.observe(at(0), Contact::Open, true);
        wired.edge(at(20), true, at(10), 0);
        wired.observe(at(20), Contact::Touched, true);
        assert!(wired.poll(&config, at(5_010)).is_some());
        for now in (6_000..30_000).step_by(1_000) {
            wired.observe(at(now), Contact::Open, true);
        }
        assert_eq!(wired.causes(), Causes::SEQUENCE);
        assert_eq!(wired.rearm(&config, at(30_000), Level::Low), None);
        assert_eq!(wired.rearm(&config, at(30_001), Level::High), Some(Ok(())));
        wired.observe(at(30_002), Contact::Open, true);
        let _ = wired.lines(&config, at(30_002));
        assert!(wired.lines(&config, at(30_003)).run);
    }
}
