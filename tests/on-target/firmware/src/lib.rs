//! What the images share.

#![no_std]

// For its critical section, which the log needs.
#[cfg(target_arch = "arm")]
use cortex_m as _;
#[cfg(target_arch = "arm")]
pub use cortex_m_rt::entry;
#[cfg(target_arch = "riscv32")]
use riscv as _;
#[cfg(target_arch = "riscv32")]
pub use riscv_rt::entry;

pub mod board;
#[cfg(feature = "host")]
pub mod count;
#[cfg(feature = "host")]
pub mod files;
pub mod plant;
