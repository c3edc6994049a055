//! The device side of the rig, with bytes that nobody knows.

use core::hint::black_box;

use trueonset_rig::Device;

use super::{any, yes};

/// All of it.
pub(crate) fn all() {
    let mut device = Device::new();
    while yes() {
        black_box(device.byte(any() as u8));
    }
}
