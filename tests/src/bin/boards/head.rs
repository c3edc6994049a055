//! What the image `head` does, out of the same core on this machine.

use trueonset::barrier::{Lamp, LightTest, TestResult};
use trueonset::battery::{
    Battery, BatteryConfig, BatteryPlan, Cells, Chemistry, Load, Observation, Pack, Verdict,
};
use trueonset::flags::Flags;
use trueonset::frame::{Contact, Key, Quality, SlowValue};
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::link::LinkPlan;
use trueonset::onset::{Config, Event};
use trueonset::pins::Captured;
use trueonset::time::{Instant, TickRate};

use crate::eye::Eye;
use crate::side::{Answer, Frame, Inputs, Side, Trouble, CONVERTED, LAMP};

/// Ticks of the probe's timer, Hz.
pub(crate) const HZ: u32 = 8_000_000;
/// Number of the probe.
pub(crate) const ID: u16 = 0x5A5;

/// What has come of the start.
enum Stage {
    /// Nothing yet.
    Off,
    /// At the start, or once the tool has let go that was in the light then.
    Testing(LightTest, Option<Box<Running>>),
    Running(Box<Running>),
}

struct Running {
    head: Head,
    gauge: (BatteryConfig, Battery),
    looked_s: Option<u64>,
    status: HeadStatus,
    zero: u64,
    newest: u64,
    told: bool,
    /// What the newest light-off test has shown.
    tested: TestResult,
}

/// A simulated probe.
pub(crate) struct SimulatedHead {
    key: [u8; 16],
    config: HeadConfig,
    /// 39 edges in 3 ms, an eighth more and 16.
    eye: Eye<60>,
    stage: Stage,
}

fn plan() -> BatteryPlan {
    BatteryPlan {
        pack: Pack {
            chemistry: Chemistry::Alkaline,
            cells: 2,
            capacity_uah: 2_000_000,
        },
        load: Load {
            base_ua: 1_000,
            measuring_ua: 15_000,
            least_duty_permille: 500,
            most_duty_permille: 1_000,
            pulse_ua: 60_000,
            stop_mv: 1_900,
        },
        reading_mv: 10,
        coldest_decicelsius: 50,
        stale_s: 60,
    }
}

impl SimulatedHead {
    /// A probe that has just got power.
    pub(crate) fn new(key: [u8; 16]) -> Result<Self, Trouble> {
        let rate = TickRate::from_hz(HZ)?;
        Ok(Self {
            key,
            config: HeadConfig::new(rate, ID, &LinkPlan::INFRARED)?,
            eye: Eye::new(Config::new(rate, 2_000_000)?),
            stage: Stage::Off,
        })
    }

    fn test(
        &mut self,
        test: LightTest,
        running: Option<Box<Running>>,
        now: Instant,
        inputs: Inputs,
    ) -> Result<Answer, Trouble> {
        let Some(deadline) = test.deadline() else {
            // The image looks at its timer anew.
            let again = self.eye.now(inputs.read_again(now.ticks()).into());
            let looked = Inputs {
                pass_ticks: 0,
                ..inputs
            };
            let mut running = match running {
                Some(running) => running,
                None => self.begin(again)?,
            };
            running.tested = test.result();
            return Ok(self.go_on(running, again, looked));
        };
        let answer = Answer {
            wake: Some(deadline.ticks()),
            pins: if test.lamp() == Lamp::On { LAMP } else { 0 },
            ..Answer::default()
        };
        self.stage = Stage::Testing(test, running);
        Ok(answer)
    }

    fn begin_test(
        &mut self,
        running: Option<Box<Running>>,
        now: Instant,
        inputs: Inputs,
    ) -> Result<Answer, Trouble> {
        let touched = self.eye.begin_test(inputs);
        let test = LightTest::begin(now, touched, HZ / 1_000);
        self.test(test, running, now, inputs)
    }

    fn go_on(&mut self, mut running: Box<Running>, now: Instant, inputs: Inputs) -> Answer {
        let answer = self.run(&mut running, now, inputs);
        self.stage = Stage::Running(running);
        answer
    }

    fn begin(&mut self, now: Instant) -> Result<Box<Running>, Trouble> {
        let paired = Waking::paired(&self.config);
        let waking = Waking::read(&self.config, [&paired, &paired]).ok_or("no start left")?;
        let (_, record) = waking.write();
        let counted = waking.stored([&record, &record]);
        let touched = self.eye.line.in_contact();
        let mut status = HeadStatus::default();
        status.signs.measuring = true;
        let config = BatteryConfig::new(plan())?;
        Ok(Box::new(Running {
            head: counted.map_err(|_| "a start not counted")?.head(
                Key::new(self.key)?,
                now,
                touched,
            ),
            gauge: (config, Battery::new(&config, None)),
            looked_s: None,
            status,
            zero: now.ticks(),
            newest: 0,
            told: touched,
            tested: TestResult::Running,
        }))
    }

    fn run(&mut self, running: &mut Running, now: Instant, inputs: Inputs) -> Answer {
        for event in self.eye.pass(now, inputs) {
            running.tell(&self.config, &event);
        }
        let contact = self.eye.contact();
        running.status.signs.self_test_failed = running.tested != TestResult::Passed;
        running.status.fault = running.status.signs.self_test_failed
            || running.told != self.eye.line.in_contact()
            || contact == Contact::Fault;
        running.status.between = contact == Contact::Between;
        running.head.set_status(running.status);
        let mut answer = Answer {
            pins: LAMP,
            ..Answer::default()
        };
        let head = &running.head;
        // The frame is ready at the end of the pass; it is made 500 µs before its slot.
        let at = self.eye.now(inputs.read_again(now.ticks()).into());
        let slot = (now.ticks() - running.zero + 4_000) / 8_000;
        let begin = head.begin(&self.config, slot);
        let due = slot > 0 && head.next(&self.config, slot - 1) == slot;
        if slot > running.newest && begin > now && begin > at && due {
            let frame = head.frame(&self.config, slot);
            answer.frames.push((begin.ticks(), frame));
        }
        running.newest = running.newest.max(slot);
        let slot = (at.ticks() - running.zero + 4_000) / 8_000;
        let next = head.next(&self.config, slot);
        let ready = head.begin(&self.config, next).ticks() - 4_000;
        // Where the next frame leaves 3 ms for it.
        if at.ticks() + 24_000 < ready && running.look(at, inputs) {
            answer.pins |= CONVERTED;
        }
        let hold = self.eye.deadline().map(Instant::ticks);
        answer.wake = hold.into_iter().chain([ready]).min();
        answer
    }
}

impl Running {
    fn tell(&mut self, config: &HeadConfig, event: &Event) {
        let (touched, contact) = match event {
            Event::Touch(contact) => (true, contact),
            Event::Release(contact) => (false, contact),
            _ => return,
        };
        let flags = contact.flags;
        let quality = if flags.has(Flags::FAULTS) {
            Quality::Doubtful
        } else if flags.has(Flags::FLUTTER) {
            Quality::Bounced
        } else if flags.has(Flags::ROUGH) || flags.has(Flags::VIBRATION) {
            Quality::Slow
        } else {
            Quality::Clean
        };
        let onset = contact.onset.nearest();
        if self.head.edge(config, onset, touched, quality).is_ok() {
            self.told = touched;
        }
    }

    /// Once a second; whether it was time.
    fn look(&mut self, now: Instant, inputs: Inputs) -> bool {
        let now_s = now.ticks() / u64::from(HZ);
        if self.looked_s.replace(now_s) == Some(now_s) {
            return false;
        }
        let (rest_mv, loaded_mv) = inputs.millivolts;
        let (config, battery) = &mut self.gauge;
        let seen = Observation {
            at_s: now_s as u32,
            rest_mv: rest_mv.into(),
            loaded_mv: loaded_mv.into(),
            pulse_ua: 60_000,
            decicelsius: 220,
            counter_uah: (now_s * 25 / 6) as u32,
            rested_s: 0,
            cells: Cells::Same,
        };
        battery.observe(config, &seen);
        let lasts = battery.state(config, now_s as u32).lasts(8 * 3_600);
        self.status.signs.look = lasts != Verdict::Yes;
        self.head.set_slow(if now_s % 2 == 0 {
            SlowValue::RestMillivolts(rest_mv)
        } else {
            SlowValue::LoadedMillivolts(loaded_mv)
        });
        true
    }
}

impl Side for SimulatedHead {
    fn captured(&mut self, edge: Captured) -> Result<(), Trouble> {
        self.eye.captured(edge);
        Ok(())
    }

    fn restart(&mut self) -> Result<(), Trouble> {
        Err("the probe has no watchdog here".into())
    }

    fn heard(&mut self, _: u32, _: &Frame) -> Result<(), Trouble> {
        Ok(())
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        match std::mem::replace(&mut self.stage, Stage::Off) {
            Stage::Off => {
                let now = self.eye.first(tick, inputs);
                self.begin_test(None, now, inputs)
            }
            Stage::Testing(mut test, running) => {
                let now = self.eye.now(tick);
                let (shown, told) = self.eye.test(now, inputs);
                // Pin and captures must both say so.
                let touched = match test.lamp() {
                    Lamp::Off => shown && told,
                    Lamp::On => shown || told,
                };
                let _ = test.step(now, touched);
                self.test(test, running, now, inputs)
            }
            Stage::Running(running) => {
                let now = self.eye.now(tick);
                // Nothing was shown with a tool in the light, or one that came into it; it has let go.
                let open = self.eye.contact() == Contact::Open;
                let spoilt = [TestResult::InContact, TestResult::StuckDark];
                if spoilt.contains(&running.tested) && open {
                    return self.begin_test(Some(running), now, inputs);
                }
                Ok(self.go_on(running, now, inputs))
            }
        }
    }
}
