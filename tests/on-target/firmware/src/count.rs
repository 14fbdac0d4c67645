//! Executed instructions, under an emulator that lets every instruction take the same time, and stack.
//!
//! These are instructions, not cycles: the emulator has no model of a pipeline, of flash or of a bus.

/// A running counter of what passes per instruction.
#[cfg(target_arch = "arm")]
mod ticks {
    use cortex_m::peripheral::SYST;
    use cortex_m::peripheral::syst::SystClkSource;

    /// Bits of the counter.
    pub const BITS: u32 = 24;

    pub fn start() {
        let mut timer = cortex_m::Peripherals::take().expect("nobody took them before").SYST;
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload((1 << BITS) - 1);
        timer.clear_current();
        timer.enable_counter();
    }

    #[inline(always)]
    pub fn now() -> u32 {
        // It counts down.
        0_u32.wrapping_sub(SYST::get_current())
    }

    core::arch::global_asm!(
        ".syntax unified",
        ".global known_loop",
        ".thumb_func",
        "known_loop:",
        "1: subs r0, r0, #1",
        "bne 1b",
        "bx lr",
    );

    /// Instructions a turn of `known_loop`.
    pub const PER_TURN: u32 = 2;
}

#[cfg(target_arch = "riscv32")]
mod ticks {
    pub const BITS: u32 = 32;

    pub fn start() {}

    #[inline(always)]
    pub fn now() -> u32 {
        let count;
        // SAFETY: reads a counter that every RV32 core with machine mode has.
        unsafe { core::arch::asm!("csrr {}, minstret", out(reg) count, options(nomem, nostack)) };
        count
    }

    core::arch::global_asm!(".global known_loop", "known_loop:", "1: addi a0, a0, -1", "bnez a0, 1b", "ret",);

    pub const PER_TURN: u32 = 2;
}

unsafe extern "C" {
    /// Takes `PER_TURN` instructions a turn and one to return.
    fn known_loop(turns: u32);
}

#[inline(never)]
extern "C" fn nothing() {}

/// Ticks of so many turns. Not inlined: a number that is known beforehand would be handed over in fewer instructions than one that is not.
#[inline(never)]
fn turns(turns: u32) -> u32 {
    // SAFETY: it touches only its argument.
    between(|| unsafe { known_loop(turns) })
}

/// Turns ticks into instructions.
pub struct Counter {
    /// So many ticks pass in `per_instructions`.
    ticks: u64,
    per_instructions: u64,
    /// What counting itself adds, in instructions.
    own: u32,
}

impl Counter {
    /// Finds out how many ticks an instruction takes, from loops whose number of instructions is known.
    ///
    /// # Panics
    ///
    /// When the counts of further known loops are not exact: this emulator does not count as it should.
    #[must_use]
    pub fn calibrate() -> Self {
        ticks::start();
        let ticks = u64::from(turns(11_000).wrapping_sub(turns(1_000)) & mask());
        let mut counter = Self { ticks, per_instructions: u64::from(10_000 * ticks::PER_TURN), own: 0 };
        assert!(ticks > 0, "the timer runs");
        counter.own = counter.instructions(between(|| nothing()));
        let base = counter.instructions(turns(1));
        for more in 0..500 {
            let exact = base + more * ticks::PER_TURN;
            assert_eq!(counter.instructions(turns(1 + more)), exact, "instructions are counted exactly");
        }
        counter
    }

    fn instructions(&self, ticks: u32) -> u32 {
        // To nearest.
        let twice = 2 * u64::from(ticks) * self.per_instructions / self.ticks;
        u32::try_from(twice.div_ceil(2)).expect("below 2^32")
    }

    /// Instructions of a call, but for that of a function that does nothing.
    #[inline(always)]
    pub fn count(&self, call: impl FnOnce()) -> u32 {
        let ticks = between(call);
        self.instructions(ticks).saturating_sub(self.own)
    }
}

const fn mask() -> u32 {
    u32::MAX >> (32 - ticks::BITS)
}

#[inline(always)]
fn between(call: impl FnOnce()) -> u32 {
    let before = ticks::now();
    call();
    ticks::now().wrapping_sub(before) & mask()
}

/// How far below the present end of the stack is looked.
const DEPTH: usize = 4096;
const PAINT: u32 = 0xa5a5_5a5a;

#[inline(always)]
fn stack_pointer() -> usize {
    let at;
    // SAFETY: reads a register.
    #[cfg(target_arch = "arm")]
    unsafe {
        core::arch::asm!("mov {}, sp", out(reg) at, options(nomem, nostack));
    }
    // SAFETY: reads a register.
    #[cfg(target_arch = "riscv32")]
    unsafe {
        core::arch::asm!("mv {}, sp", out(reg) at, options(nomem, nostack));
    }
    at
}

/// Bytes of stack that a call uses, by painting what is below and looking how far down the paint was touched.
///
/// # Panics
///
/// When it may have been more than is looked at.
#[inline(always)]
pub fn stack(call: impl FnOnce()) -> u32 {
    let top = stack_pointer();
    let bottom = top - DEPTH;
    for at in (bottom..top).step_by(4) {
        // SAFETY: memory below the stack pointer that nobody uses: there are no interrupts.
        unsafe { core::ptr::with_exposed_provenance_mut::<u32>(at).write_volatile(PAINT) };
    }
    call();
    // SAFETY: as above.
    let is_painted =
        |at: &usize| unsafe { core::ptr::with_exposed_provenance::<u32>(*at).read_volatile() == PAINT };
    let untouched = (bottom..top).step_by(4).take_while(is_painted).count();
    assert!(untouched > 0, "more stack was used than is looked at");
    u32::try_from(DEPTH - 4 * untouched).expect("below the depth")
}
