//! The safety loop as it would be released: a setup that is loaded from flash and turned for ever. The image links only if no
//! panic can be reached, and is looked at for what else must not be in it.
//!
//! The features that begin with `bad` each put in what must be found.

#![no_std]
#![no_main]

use core::panic::PanicInfo;

use firmware::board::board;
use firmware::entry;
use monitor_core::hal::SafetyLoop;
use monitor_core::seal::Image;

unsafe extern "C" {
    /// Defined nowhere: an image from which it can be reached does not link.
    #[cfg(not(feature = "halt"))]
    fn a_panic_is_reachable() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    #[cfg(not(feature = "halt"))]
    // SAFETY: never linked.
    unsafe {
        a_panic_is_reachable()
    }
    #[cfg(feature = "halt")]
    loop {}
}

/// Where a sealed setup is in flash, and how long it is: what stands there is not known when this is built.
static SETUP: (firmware::board::Register, firmware::board::Register) =
    (firmware::board::Register::new(), firmware::board::Register::new());

fn setup() -> &'static [u8] {
    let at = core::ptr::with_exposed_provenance::<u8>(SETUP.0.read() as usize);
    // SAFETY: whoever puts the setup into flash says truly where it is; it never changes.
    unsafe { core::slice::from_raw_parts(at, SETUP.1.read() as usize) }
}

#[entry]
fn main() -> ! {
    let loaded = Image::open(setup()).and_then(|image| image.axis::<17, 4, 1>());
    let (Ok(config), Ok(board)) = (loaded, board()) else {
        // No setup, no permit: the output is low after a reset of the board.
        loop {}
    };
    let mut safety = SafetyLoop::new(config, board);
    loop {
        let turn = safety.turn();
        bad(turn.now.as_nanos());
    }
}

#[cfg(not(any(
    feature = "bad-panic",
    feature = "bad-float",
    feature = "bad-division",
    feature = "bad-allocation"
)))]
fn bad(_: u64) {}

#[cfg(feature = "bad-panic")]
fn bad(now: u64) {
    let table = [1, 2, 3];
    firmware::board::REGISTERS.back.write(table[now as usize]);
}

#[cfg(feature = "bad-float")]
fn bad(now: u64) {
    firmware::board::REGISTERS.back.write((now as f32 * 0.5) as u32);
}

#[cfg(feature = "bad-division")]
fn bad(now: u64) {
    let divisor = u64::from(firmware::board::REGISTERS.timer.read()).max(1);
    firmware::board::REGISTERS.back.write(now.checked_div(divisor).unwrap_or(0) as u32);
}

#[cfg(feature = "bad-allocation")]
fn bad(now: u64) {
    firmware::board::REGISTERS.back.write(heap::kept(now));
}

#[cfg(feature = "bad-allocation")]
mod heap {
    extern crate alloc;

    use core::alloc::{GlobalAlloc, Layout};

    /// Hands out the same place again and again: enough to be found.
    struct Heap;

    // SAFETY: never run.
    unsafe impl GlobalAlloc for Heap {
        #[inline(never)]
        unsafe fn alloc(&self, _: Layout) -> *mut u8 {
            core::ptr::with_exposed_provenance_mut(firmware::board::REGISTERS.timer.read() as usize)
        }

        unsafe fn dealloc(&self, _: *mut u8, _: Layout) {}
    }

    #[global_allocator]
    static HEAP: Heap = Heap;

    pub fn kept(now: u64) -> u32 {
        let kept = alloc::boxed::Box::new(core::hint::black_box(now));
        *core::hint::black_box(kept) as u32
    }
}
