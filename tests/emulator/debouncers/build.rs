//! Memory map of the emulated LM3S6965 (Cortex-M3), machine `lm3s6965evb`.

use std::{env, fs, path::PathBuf};

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    let map = "MEMORY {\n  FLASH : ORIGIN = 0, LENGTH = 256K\n  RAM : ORIGIN = 0x20000000, LENGTH = 64K\n}\n";
    fs::write(out.join("memory.x"), map).expect("OUT_DIR can be written");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rerun-if-changed=build.rs");
}
