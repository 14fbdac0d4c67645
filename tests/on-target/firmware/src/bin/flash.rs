//! What the core takes of the flash: an image with nothing, with `step`, and with the loader of sealed setups too.

#![no_std]
#![no_main]

#[cfg(feature = "step")]
use firmware::board::Register;
use firmware::entry;

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}

/// Where things are is not known when this is built.
#[cfg(feature = "step")]
static AT: [Register; 3] = [Register::new(), Register::new(), Register::new()];

#[cfg(feature = "step")]
fn at<T>(place: &Register) -> *mut T {
    core::ptr::with_exposed_provenance_mut(place.read() as usize)
}

#[cfg(feature = "step")]
#[inline(never)]
fn step() {
    use monitor_core::{AxisConfig, AxisState, Frame, Outcome};

    let [setup, frame, outcome] = &AT;
    // SAFETY: this is never run; the pointers stand for a setup in flash, a state, a frame and an outcome in RAM.
    unsafe {
        let config: &AxisConfig<17, 4, 1> = &*at(setup);
        let state: &mut AxisState<17, 4, 1> = &mut *at(outcome);
        let frame: &Frame = &*at(frame);
        at::<Outcome>(outcome).write_volatile(config.step(state, frame));
    }
}

#[cfg(feature = "load")]
#[inline(never)]
fn load() {
    use monitor_core::AxisConfig;
    use monitor_core::seal::Image;

    let [setup, image, length] = &AT;
    // SAFETY: this is never run; the pointers stand for an image in flash and a setup in RAM.
    unsafe {
        let bytes = core::slice::from_raw_parts(at::<u8>(image), length.read() as usize);
        if let Ok(config) = Image::open(bytes).and_then(|image| image.axis()) {
            at::<AxisConfig<17, 4, 1>>(setup).write_volatile(config);
        }
    }
}

#[entry]
fn main() -> ! {
    loop {
        #[cfg(feature = "load")]
        load();
        #[cfg(feature = "step")]
        step();
    }
}
