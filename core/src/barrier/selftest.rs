//! The self-test: light off, and 'touched' must be seen.
//!
//! A sensor that is stuck at light, a shorted receiver or foreign light would let an approach run
//! on. So the head switches its own light off for a moment: whatever sees no contact then will see
//! none later. The library asks, the firmware switches.
//!
//! When: at every start, and after a start in contact once the tool has let go. A probe on a cable
//! whose control announces approaches tests before each of them, its lines at stop meanwhile. A
//! probe over the air cannot: nothing is sent to it, so it does not know of an approach, and a test
//! of its own accord would make it blind while READY stands, in which a touch must stop the line
//! within delay and bound. READY would have to fall for each test, in the midst of an approach as
//! well. Where that is wanted, switch the probe off between approaches: each start is a test.

use crate::time::Instant;

/// What the firmware is to do with the light source now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Lamp {
    /// Switch it on, or leave it on.
    On,
    /// Switch it off, or leave it off.
    Off,
}

/// What the test has shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum TestResult {
    /// Not over yet.
    Running,
    /// Light off was seen as contact, and light on as none.
    Passed,
    /// It began with a contact: nothing can be shown.
    InContact,
    /// Light off was not seen: an approach would not be stopped.
    StuckLight,
    /// Light on again was not seen: the light source or its switch is broken.
    StuckDark,
}

/// One self-test. While it runs, edges and samples belong to it and not to line or barrier, which
/// are told of the gap afterwards ([`Level::Unknown`](crate::edge::Level::Unknown) edge,
/// [`Barrier::gap`](super::Barrier::gap)).
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LightTest {
    deadline: Instant,
    patience: u32,
    lamp: Lamp,
    result: TestResult,
}

impl LightTest {
    /// Begins at `now`; each switching must be seen within `patience_ticks`. `touched` is what
    /// the sensor says with the light still on.
    #[must_use]
    pub fn begin(now: Instant, touched: bool, patience_ticks: u32) -> Self {
        let (lamp, result) = if touched {
            (Lamp::On, TestResult::InContact)
        } else {
            (Lamp::Off, TestResult::Running)
        };
        Self {
            deadline: now.plus(patience_ticks),
            patience: patience_ticks,
            lamp,
            result,
        }
    }

    /// What the light is to be.
    #[must_use]
    pub fn lamp(&self) -> Lamp {
        self.lamp
    }

    /// What is known by now.
    #[must_use]
    pub fn result(&self) -> TestResult {
        self.result
    }

    /// When to look again at the latest; `None` when the test is over.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        (self.result == TestResult::Running).then_some(self.deadline)
    }

    /// The sensor says `touched` at `now`; call it on every change and at the deadline.
    #[must_use]
    pub fn step(&mut self, now: Instant, touched: bool) -> TestResult {
        if self.result != TestResult::Running {
            return self.result;
        }
        match (self.lamp, touched) {
            (Lamp::Off, true) => {
                self.lamp = Lamp::On;
                self.deadline = now.plus(self.patience);
            }
            (Lamp::On, false) => self.result = TestResult::Passed,
            (lamp, _) if now >= self.deadline => {
                self.result = match lamp {
                    Lamp::Off => TestResult::StuckLight,
                    Lamp::On => TestResult::StuckDark,
                };
                self.lamp = Lamp::On;
            }
            _ => {}
        }
        self.result
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ticks: u64) -> Instant {
        Instant::from_ticks(ticks)
    }

    #[test]
    fn a_sound_sensor_passes_and_ends_with_its_light_on() {
        let mut test = LightTest::begin(at(100), false, 50);
        assert_eq!((test.lamp(), test.deadline()), (Lamp::Off, Some(at(150))));
        assert_eq!(test.step(at(110), false), TestResult::Running);
        assert_eq!(test.step(at(120), true), TestResult::Running);
        assert_eq!((test.lamp(), test.deadline()), (Lamp::On, Some(at(170))));
        assert_eq!(test.step(at(121), true), TestResult::Running);
        assert_eq!(test.step(at(130), false), TestResult::Passed);
        assert_eq!((test.lamp(), test.deadline()), (Lamp::On, None));
        assert_eq!(test.step(at(900), true), TestResult::Passed);
    }

    #[test]
    fn what_does_not_change_is_named_and_the_light_goes_on() {
        let mut test = LightTest::begin(at(0), false, 50);
        assert_eq!(test.step(at(49), false), TestResult::Running);
        assert_eq!(test.step(at(50), false), TestResult::StuckLight);
        assert_eq!(test.lamp(), Lamp::On);
        let mut test = LightTest::begin(at(0), false, 50);
        assert_eq!(test.step(at(10), true), TestResult::Running);
        assert_eq!(test.step(at(60), true), TestResult::StuckDark);
        assert_eq!(
            LightTest::begin(at(0), true, 50).result(),
            TestResult::InContact
        );
    }
}
