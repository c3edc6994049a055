//! A drawn course of operations over core's public entries, and a digest of all that they tell.
//!
//! Every number comes from a seed; everything that core answers is written as text, each field of
//! it, into one running checksum. The same seed must give the same digest on every processor:
//! this crate is compiled into an image for each emulated board and into a program for the PC.
#![no_std]

mod cable;
mod draw;
mod edges;
mod length;
mod link;
mod pair;
mod power;
mod samples;
mod time;

use core::fmt::{self, Write};

use crc::{Crc, Digest, CRC_64_XZ};

use crate::draw::Draw;

const CRC: Crc<u64> = Crc::<u64>::new(&CRC_64_XZ);

/// Writes a value with all its fields; the sinks here refuse nothing.
macro_rules! tell {
    ($told:expr, $($value:expr),+) => {
        {
            $(let _ = write!($told, "{:?};", $value);)+
        }
    };
}
pub(crate) use tell;

/// The running checksum of all that was told.
pub struct Sum(Digest<'static, u64>);

impl Sum {
    /// Of nothing yet.
    #[must_use]
    pub fn new() -> Self {
        const RUNNING: &Crc<u64> = &CRC;
        Self(RUNNING.digest())
    }

    /// As it stands.
    #[must_use]
    pub fn so_far(&self) -> u64 {
        self.0.clone().finalize()
    }
}

impl Default for Sum {
    fn default() -> Self {
        Self::new()
    }
}

impl Write for Sum {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0.update(text.as_bytes());
        Ok(())
    }
}

/// All the rooms of core, each with what it has been through.
pub struct Course {
    draw: Draw,
    edges: edges::Room,
    samples: samples::Room,
    link: link::Room,
    cable: cable::Room,
    power: power::Room,
    length: length::Room,
    pair: pair::Room,
    time: time::Room,
}

impl Course {
    /// From its begin. Apart from what is done with it: both do not fit on the stack of the M0.
    #[must_use]
    #[inline(never)]
    pub fn new(seed: u64) -> Self {
        let mut draw = Draw::new(seed);
        Self {
            edges: edges::Room::new(&mut draw),
            samples: samples::Room::new(&mut draw),
            link: link::Room::new(&mut draw),
            cable: cable::Room::new(&mut draw),
            power: power::Room::new(&mut draw),
            length: length::Room::new(&mut draw),
            pair: pair::Room::new(&mut draw),
            time: time::Room::new(&mut draw),
            draw,
        }
    }

    /// One operation; what it answers goes to `told`.
    pub fn step(&mut self, told: &mut impl Write) {
        let draw = &mut self.draw;
        match draw.below(32) {
            0..=8 => self.edges.step(draw, told),
            9..=12 => self.samples.step(draw, told),
            13..=21 => self.link.step(draw, told),
            22..=23 => self.cable.step(draw, told),
            24..=25 => self.power.step(draw, told),
            26..=28 => self.length.step(draw, told),
            29 => self.pair.step(draw, told),
            _ => self.time.step(draw, told),
        }
    }
}

/// Operations from one digest that is told to the next.
pub const APART: u64 = 100_000;

/// A course of `count` operations; `each` hears how many are done and the digest of all of them.
/// One operation, if there is `changed`, is another than the seed has it.
pub fn run(seed: u64, count: u64, changed: Option<u64>, mut each: impl FnMut(u64, u64)) {
    let mut course = Course::new(seed);
    let mut sum = Sum::new();
    for done in 1..=count {
        if changed == Some(done) {
            course.draw = Draw::new(seed ^ done);
        }
        course.step(&mut sum);
        if done % APART == 0 || done == count {
            each(done, sum.so_far());
        }
    }
}
