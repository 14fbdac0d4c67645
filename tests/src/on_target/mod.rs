//! Boards that are emulated, and the toolchains that build for them.

mod board;
mod toolchain;

pub use board::{BOARDS, Board, board};
pub use toolchain::{Missing, Toolchain, is_there, output_of};
