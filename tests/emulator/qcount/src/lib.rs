//! Counts the guest instructions executed between two markers.
//!
//! The guest puts `mov r9, r9` before and `mov r10, r10` after the code of interest; a compiler
//! emits neither. For every pair the plugin prints `#count N` to stdout, where N is the number of
//! instructions executed between the two, the call instruction included. Output is written at
//! once, so that it stays in order with what the guest prints by semihosting.
//!
//! Speaks version 1 of the plugin interface (`QEMU` 5 to 8). `QEMU` refuses to load a plugin
//! whose version it does not know, and a run without counts is an error of the caller's making.

use std::ffi::{c_char, c_int, c_uint, c_void};
use std::io::Write;
use std::ptr::addr_of_mut;

/// The interface version this plugin was written for; `QEMU` reads it before anything else.
#[no_mangle]
#[allow(non_upper_case_globals)]
pub static qemu_plugin_version: c_int = 1;

/// `mov r9, r9` and `mov r10, r10`, little-endian Thumb.
const START: [u8; 2] = [0xc9, 0x46];
const STOP: [u8; 2] = [0xd2, 0x46];

const NO_REGISTERS: c_int = 0;
const ADD_U64: c_int = 0;

type Translated = extern "C" fn(id: u64, block: *mut c_void);
type Executed = extern "C" fn(cpu: c_uint, data: *mut c_void);

extern "C" {
    fn qemu_plugin_register_vcpu_tb_trans_cb(id: u64, callback: Translated);
    fn qemu_plugin_tb_n_insns(block: *const c_void) -> usize;
    fn qemu_plugin_tb_get_insn(block: *const c_void, index: usize) -> *mut c_void;
    fn qemu_plugin_insn_data(insn: *const c_void) -> *const u8;
    fn qemu_plugin_insn_size(insn: *const c_void) -> usize;
    fn qemu_plugin_register_vcpu_insn_exec_cb(
        insn: *mut c_void,
        callback: Executed,
        flags: c_int,
        data: *mut c_void,
    );
    fn qemu_plugin_register_vcpu_insn_exec_inline(
        insn: *mut c_void,
        operation: c_int,
        counter: *mut c_void,
        amount: u64,
    );
}

/// Instructions executed so far, markers not counted. One emulated core, so one writer.
static mut EXECUTED: u64 = 0;
/// [`EXECUTED`] at the last start marker.
static mut STARTED: u64 = 0;

extern "C" fn start(_cpu: c_uint, _data: *mut c_void) {
    // SAFETY: the boards emulated here have one core, and callbacks run on its thread.
    unsafe { STARTED = EXECUTED }
}

extern "C" fn stop(_cpu: c_uint, _data: *mut c_void) {
    // SAFETY: as in `start`.
    let count = unsafe { EXECUTED - STARTED };
    let mut out = std::io::stdout().lock();
    // A closed stdout shows as a missing count, which the caller must treat as an error.
    let _ = writeln!(out, "#count {count}").and_then(|()| out.flush());
}

extern "C" fn translated(_id: u64, block: *mut c_void) {
    // SAFETY: QEMU hands out a valid block, and the instructions below its count are valid.
    unsafe {
        for index in 0..qemu_plugin_tb_n_insns(block) {
            let insn = qemu_plugin_tb_get_insn(block, index);
            // A 16-bit instruction in the last word of a page is handed over with 4 bytes, so
            // only the leading two are compared. No 32-bit Thumb instruction starts like these.
            let length = qemu_plugin_insn_size(insn).min(2);
            let code = std::slice::from_raw_parts(qemu_plugin_insn_data(insn), length);
            let marker: Option<Executed> = match code {
                code if code == START => Some(start),
                code if code == STOP => Some(stop),
                _ => None,
            };
            let none = std::ptr::null_mut();
            match marker {
                Some(marker) => {
                    qemu_plugin_register_vcpu_insn_exec_cb(insn, marker, NO_REGISTERS, none);
                }
                None => qemu_plugin_register_vcpu_insn_exec_inline(
                    insn,
                    ADD_U64,
                    addr_of_mut!(EXECUTED).cast(),
                    1,
                ),
            }
        }
    }
}

/// Called once by `QEMU` when it loads the plugin.
///
/// # Safety
/// Only `QEMU` calls this, with its own plugin identifier.
#[no_mangle]
pub unsafe extern "C" fn qemu_plugin_install(
    id: u64,
    _info: *const c_void,
    _argc: c_int,
    _argv: *mut *mut c_char,
) -> c_int {
    qemu_plugin_register_vcpu_tb_trans_cb(id, translated);
    0
}
