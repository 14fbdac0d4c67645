//! How an axis lies in the storage that C gives for it, and who may touch it.

use core::cell::UnsafeCell;
use core::ffi::c_void;
use core::mem::MaybeUninit;
use core::sync::atomic::{AtomicU32, AtomicUsize, Ordering};

use monitor_core::seal::Image;
use monitor_core::{AxisConfig, AxisState};

use crate::capacity::{CW_INPUTS, CW_MONITORS, CW_POINTS, cw_axis};
use crate::checked;
use crate::status::{
    CW_STATUS_BUSY, CW_STATUS_LOADED_ALREADY, CW_STATUS_MOVED, CW_STATUS_NOT_LOADED, CW_STATUS_OVERWRITTEN,
    cw_status, of_image,
};

pub(crate) type Config = AxisConfig<CW_POINTS, CW_MONITORS, CW_INPUTS>;
pub(crate) type State = AxisState<CW_POINTS, CW_MONITORS, CW_INPUTS>;

// Invented numbers with as many ones as zeros, which neither cleared memory nor a small number is.
const LOADED: u32 = 0x4357_b1e5;
const FREE: u32 = 0x3ac5_69d2;
const TAKEN: u32 = 0xc53a_962d;
const END: u32 = 0x8e71_d34a;

/// What the storage holds. Every pattern of bits is a value of it, so that storage can be looked at before anything was loaded.
#[repr(C)]
pub(crate) struct Slot {
    /// `LOADED` while everything below holds an axis.
    head: AtomicU32,
    /// `FREE` while no call is using the axis.
    use_now: AtomicU32,
    /// Where it was loaded.
    place: AtomicUsize,
    loaded: UnsafeCell<Loaded>,
    /// `END`. The last part: whatever overlaps the storage from above, or writes past something below, meets this or `head`.
    end: AtomicU32,
}

struct Loaded {
    config: MaybeUninit<Config>,
    state: MaybeUninit<State>,
    facts: Facts,
}

/// What an axis was loaded from.
#[derive(Clone, Copy)]
pub(crate) struct Facts {
    pub(crate) image_checksum: u32,
    pub(crate) setup_checksum: u32,
    pub(crate) monitors: u8,
    pub(crate) inputs: u8,
    pub(crate) analogues: u8,
}

/// How storage is aligned that C declares as numbers of 64 bits.
type Word = u64;

impl Slot {
    /// How many bytes of storage are enough wherever it lies: some processors want numbers of 128 bits, which the core has, aligned more
    /// strictly than [`Word`].
    pub(crate) const NEEDS: usize =
        size_of::<Self>().wrapping_add(align_of::<Self>()).wrapping_sub(align_of::<Word>());

    /// Where in this storage it lies. At most `NEEDS` bytes of the storage are before its end.
    pub(crate) fn within(storage: *mut c_void) -> Result<*const Self, cw_status> {
        let words: *const Word = storage.cast_const().cast();
        checked::pointer(words)?;
        let mask = align_of::<Self>().wrapping_sub(1);
        Ok(words.map_addr(|at| at.wrapping_add(mask) & !mask).cast())
    }

    fn address(&self) -> usize {
        core::ptr::from_ref(self).addr()
    }

    /// Whether an axis was loaded here and not unloaded.
    pub(crate) fn refuse_loaded(&self) -> Result<(), cw_status> {
        let is_loaded = self.head.load(Ordering::Acquire) == LOADED
            && self.place.load(Ordering::Relaxed) == self.address();
        if is_loaded { Err(CW_STATUS_LOADED_ALREADY) } else { Ok(()) }
    }

    /// Loads the axis of an image.
    ///
    /// # Safety
    ///
    /// Nothing else uses the storage, and no axis is loaded in it.
    pub(crate) unsafe fn load(&self, image: &Image<'_>) -> Result<(), cw_status> {
        self.head.store(0, Ordering::Release);
        // SAFETY: the caller says that nothing else uses it.
        let loaded = unsafe { &mut *self.loaded.get() };
        let analogues = set_up(&mut loaded.config, image)?;
        start(&mut loaded.state);
        loaded.facts = Facts {
            image_checksum: image.checksum(),
            setup_checksum: image.setup_checksum(),
            monitors: image.monitors(),
            inputs: image.inputs(),
            analogues,
        };
        self.use_now.store(FREE, Ordering::Relaxed);
        self.place.store(self.address(), Ordering::Relaxed);
        self.end.store(END, Ordering::Relaxed);
        self.head.store(LOADED, Ordering::Release);
        Ok(())
    }

    /// Takes the axis for one call. True when nobody else has it.
    #[cfg(target_has_atomic = "32")]
    fn take(&self) -> bool {
        self.use_now.compare_exchange(FREE, TAKEN, Ordering::Acquire, Ordering::Relaxed).is_ok()
    }

    /// As above, where a processor cannot do it in one: an interrupt between the two gives back what it took before it ends.
    #[cfg(not(target_has_atomic = "32"))]
    fn take(&self) -> bool {
        let is_free = self.use_now.load(Ordering::Acquire) == FREE;
        if is_free {
            self.use_now.store(TAKEN, Ordering::Relaxed);
        }
        is_free
    }
}

// Each on its own, so that their working storage is on the stack one after the other.
#[inline(never)]
fn set_up(config: &mut MaybeUninit<Config>, image: &Image<'_>) -> Result<u8, cw_status> {
    let config = config.write(image.axis().map_err(of_image)?);
    // Cannot fail: an axis has room for a few.
    Ok(u8::try_from(config.analogues().len()).unwrap_or(u8::MAX))
}

#[inline(never)]
fn start(state: &mut MaybeUninit<State>) {
    state.write(State::new());
}

/// A loaded axis that this call has for itself until it is dropped.
pub(crate) struct Claim<'a> {
    slot: &'a Slot,
}

/// The storage of the axis at this place.
///
/// # Safety
///
/// As of [`Claim::of`].
unsafe fn loaded<'a>(axis: *const cw_axis) -> Result<&'a Slot, cw_status> {
    let slot: *const Slot = axis.cast();
    checked::pointer(slot)?;
    // SAFETY: neither null nor misaligned, every pattern of bits is a slot, and the caller says that it can be used.
    let slot = unsafe { &*slot };
    if slot.head.load(Ordering::Acquire) != LOADED {
        return Err(CW_STATUS_NOT_LOADED);
    }
    if slot.place.load(Ordering::Relaxed) != slot.address() {
        return Err(CW_STATUS_MOVED);
    }
    if slot.end.load(Ordering::Relaxed) != END {
        return Err(CW_STATUS_OVERWRITTEN);
    }
    Ok(slot)
}

/// Ends the axis at this place, if there is one, whoever has it: something is about to be written over it.
///
/// # Safety
///
/// As of [`Claim::of`].
pub(crate) unsafe fn end(axis: *const cw_axis) {
    // SAFETY: as the caller says.
    if let Ok(slot) = unsafe { loaded(axis) } {
        slot.head.store(0, Ordering::Release);
    }
}

impl Claim<'_> {
    /// The axis at this place.
    ///
    /// # Safety
    ///
    /// Null, or as many bytes as a slot has can be read and written there during the call, through other calls of this library only.
    pub(crate) unsafe fn of(axis: *const cw_axis) -> Result<Self, cw_status> {
        // SAFETY: as the caller says.
        let slot = unsafe { loaded(axis) }?;
        if slot.take() { Ok(Self { slot }) } else { Err(CW_STATUS_BUSY) }
    }

    /// What was loaded.
    pub(crate) fn parts(&mut self) -> (&Config, &mut State, Facts) {
        // SAFETY: the claim has the axis for itself, and this borrows the claim.
        let loaded = unsafe { &mut *self.slot.loaded.get() };
        // SAFETY: `head` says that it was loaded, which writes it.
        let config = unsafe { loaded.config.assume_init_ref() };
        // SAFETY: as above.
        let state = unsafe { loaded.state.assume_init_mut() };
        (config, state, loaded.facts)
    }

    /// From now on there is no axis here.
    pub(crate) fn unload(self) {
        self.slot.head.store(0, Ordering::Release);
    }
}

impl Drop for Claim<'_> {
    fn drop(&mut self) {
        self.slot.use_now.store(FREE, Ordering::Release);
    }
}
