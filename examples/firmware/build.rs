//! Memory map by target, so that one `cargo build` serves every board, and the test key.

use std::fmt::Write;
use std::{env, fs, path::PathBuf};

fn main() {
    let target = env::var("TARGET").expect("cargo sets TARGET");
    // The emulated board that goes with the target; flash and RAM as origin, length.
    let (machine, flash, ram) = match target.as_str() {
        // nRF51822 (Cortex-M0), machine `microbit`.
        "thumbv6m-none-eabi" => ("microbit", "0x00000000, LENGTH = 256K", "0x20000000, LENGTH = 16K"),
        // LM3S6965 (Cortex-M3), machine `lm3s6965evb`.
        "thumbv7m-none-eabi" => ("lm3s6965evb", "0x00000000, LENGTH = 256K", "0x20000000, LENGTH = 64K"),
        // MPS2 with application note 386 (Cortex-M4F), machine `mps2-an386`.
        "thumbv7em-none-eabihf" => ("mps2-an386", "0x00000000, LENGTH = 4M", "0x20000000, LENGTH = 4M"),
        // A RISC-V of 32 bits, machine `virt`: all of it is RAM, filled by the emulator.
        "riscv32imac-unknown-none-elf" => ("virt", "0x80000000, LENGTH = 1M", "0x80100000, LENGTH = 1M"),
        other => panic!("no memory map for `{other}`: build for thumbv6m-none-eabi, thumbv7m-none-eabi, thumbv7em-none-eabihf or riscv32imac-unknown-none-elf"),
    };
    // The proof calls all there is and never runs: it may be larger than the board.
    let flash = flash.replace("256K", "DEFINED(never_runs) ? 4M : 256K");
    let mut map = format!("MEMORY {{\n  FLASH : ORIGIN = {flash}\n  RAM : ORIGIN = {ram}\n}}\n");
    // The startup for RISC-V asks which part goes where, and a linker for all of them which one it is.
    if target.starts_with("riscv") {
        println!("cargo:rustc-link-arg-bins=-melf32lriscv");
        for (part, memory) in [
            ("TEXT", "FLASH"),
            ("RODATA", "FLASH"),
            ("DATA", "RAM"),
            ("BSS", "RAM"),
            ("HEAP", "RAM"),
            ("STACK", "RAM"),
        ] {
            writeln!(map, "REGION_ALIAS(\"REGION_{part}\", {memory});")
                .expect("a string takes all");
        }
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), map).expect("OUT_DIR can be written");
    // What a device crate says of interrupts that nobody handles; asked for by the RTIC image only.
    let device = "PROVIDE(UART0 = DefaultHandler);\nPROVIDE(TIMER0A = DefaultHandler);\n";
    fs::write(out.join("device.x"), device).expect("OUT_DIR can be written");
    fs::write(out.join("key.rs"), key()).expect("OUT_DIR can be written");
    println!("cargo:rustc-link-search={}", out.display());
    // Register shims are chosen by it.
    println!("cargo:rustc-cfg=machine=\"{machine}\"");
    println!(
        "cargo:rustc-check-cfg=cfg(machine, values(\"microbit\", \"lm3s6965evb\", \"mps2-an386\", \"virt\"))"
    );
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rustc-link-arg-bin=proof=--defsym=never_runs=1");
    for logs in ["board", "board_async", "board_rtic"] {
        println!("cargo:rustc-link-arg-bin={logs}=-Tdefmt.x");
    }
    println!("cargo:rerun-if-changed=build.rs");
    // What the board logs unless the builder wishes otherwise.
    println!("cargo:rerun-if-env-changed=DEFMT_LOG");
    if env::var_os("DEFMT_LOG").is_none() {
        println!("cargo:rustc-env=DEFMT_LOG=info");
    }
}

/// The key of head and board, which is no part of the sources; only images that use it miss it.
fn key() -> String {
    const NAME: &str = "TRUEONSET_TEST_KEY";
    println!("cargo:rerun-if-env-changed={NAME}");
    let digits = env::var(NAME).unwrap_or_default();
    match u128::from_str_radix(&digits, 16) {
        Ok(key) if digits.len() == 32 => {
            format!("const TEST_KEY: [u8; 16] = {:?};\n", key.to_be_bytes())
        }
        _ => format!("compile_error!(\"set {NAME} to 32 hexadecimal digits of your own\");\nconst TEST_KEY: [u8; 16] = [0; 16];\n"),
    }
}
