//! Where the processor starts.

#[cfg(target_arch = "arm")]
pub use cortex_m_rt::entry;
#[cfg(target_arch = "riscv32")]
pub use riscv_rt::entry;
