//! The functions of the library as a C program calls them.

use std::ffi::{CStr, c_void};
use std::ptr;

use monitor_core::seal::Image;
use monitor_core::{AxisConfig, Frame, Reading, Sample};
use monitor_core_c::*;

macro_rules! call {
    ($name:ident as $function:ident ($($argument:ident: $type:ty),*)) => {
        /// As C calls it.
        #[allow(dead_code, reason = "not every test calls every function")]
        pub fn $name($($argument: $type),*) -> cw_status {
            // SAFETY: the tests hand in null, or what lives long enough and is large enough.
            unsafe { $function($($argument),*) }
        }
    };
}

call!(load as cw_axis_load(storage: *mut c_void, size: usize, image: *const u8, length: usize, axis: *mut *mut cw_axis));
call!(unload as cw_axis_unload(axis: *mut cw_axis));
call!(step as cw_axis_step(axis: *mut cw_axis, frame: *const cw_frame, outcome: *mut cw_outcome));
call!(offer as cw_axis_offer(axis: *mut cw_axis, analogue: u32, channel: u32, reading: *const cw_analogue_reading));
call!(info as cw_axis_info(axis: *const cw_axis, info: *mut cw_info));
call!(trip as cw_axis_trip(axis: *const cw_axis, rule: u32, monitor: u32, channel: u32, trip: *mut cw_trip));
call!(trip_at as cw_axis_trip_at(axis: *const cw_axis, place: u32, trip: *mut cw_trip));
call!(position as cw_axis_position(axis: *const cw_axis, channel: u32, position: *mut i64));
call!(speed as cw_axis_speed(axis: *const cw_axis, channel: u32, speed: *mut i64));
call!(distance as cw_axis_distance(axis: *const cw_axis, distance: *mut i64));
call!(channel_faulted as cw_axis_channel_faulted(axis: *const cw_axis, channel: u32, faulted: *mut bool));
call!(input_faulted as cw_axis_input_faulted(axis: *const cw_axis, input: u32, faulted: *mut bool));
call!(clock_faulted as cw_axis_clock_faulted(axis: *const cw_axis, faulted: *mut bool));

/// The text of a status.
#[allow(dead_code, reason = "not every test asks for it")]
pub fn text(status: cw_status) -> &'static str {
    // SAFETY: the library promises a text that ends with a zero and stays.
    let text = unsafe { CStr::from_ptr(cw_status_text(status)) };
    text.to_str().expect("a text in English")
}

/// Storage of so many words at a place that does not move, with this content.
pub struct Storage {
    words: *mut [u64],
}

impl Storage {
    pub fn new(words: usize, content: u64) -> Self {
        Self { words: Box::into_raw(vec![content; words].into_boxed_slice()) }
    }

    /// As much as an axis needs.
    pub fn of_an_axis() -> Self {
        Self::new(CW_AXIS_SIZE / 8, 0)
    }

    pub fn at(&self, byte: usize) -> *mut c_void {
        self.words.cast::<u8>().wrapping_add(byte).cast()
    }

    /// Loads an axis into the beginning.
    pub fn load(&self, image: &[u8]) -> Result<*mut cw_axis, cw_status> {
        self.load_at(0, image)
    }

    /// Loads an axis from this byte on.
    pub fn load_at(&self, byte: usize, image: &[u8]) -> Result<*mut cw_axis, cw_status> {
        let mut axis = ptr::dangling_mut();
        let status = load(self.at(byte), CW_AXIS_SIZE, image.as_ptr(), image.len(), &raw mut axis);
        if status == CW_OK { Ok(axis) } else { Err(status) }
    }
}

impl Drop for Storage {
    fn drop(&mut self) {
        // SAFETY: it was made from a box, and nothing uses it any more.
        drop(unsafe { Box::from_raw(self.words) });
    }
}

/// The image of a setup.
#[allow(dead_code, reason = "not every test seals")]
pub fn sealed<const POINTS: usize, const MONITORS: usize, const INPUTS: usize>(
    config: &AxisConfig<POINTS, MONITORS, INPUTS>,
    setup: u32,
) -> Vec<u8> {
    let mut bytes = [0; 4096];
    let length = config.seal(setup, b"invented", &mut bytes).expect("the image fits");
    assert!(Image::open(&bytes[..length]).is_ok());
    bytes[..length].to_vec()
}

fn reading(reading: Option<Reading>) -> cw_reading {
    match reading {
        // What is not to be looked at is a number that would show.
        None => cw_reading { captured_at: u64::MAX, count: u64::MAX, kind: CW_SAMPLE_NONE },
        Some(Reading { captured_at, sample: Sample::Count(count) }) => {
            cw_reading { captured_at: captured_at.as_nanos(), count, kind: CW_SAMPLE_COUNT }
        }
        Some(Reading { captured_at, sample: Sample::Invalid }) => {
            cw_reading { captured_at: captured_at.as_nanos(), count: u64::MAX, kind: CW_SAMPLE_INVALID }
        }
    }
}

/// The frame as C writes it.
#[allow(dead_code, reason = "not every test steps")]
pub fn frame_of(frame: &Frame) -> cw_frame {
    cw_frame {
        now: frame.now.as_nanos(),
        a: reading(frame.a),
        b: reading(frame.b),
        levels: frame.levels.to_bits(),
    }
}

/// An outcome as a careless program has it: left over, with permit.
#[allow(dead_code, reason = "not every test steps")]
pub fn left_over() -> cw_outcome {
    cw_outcome {
        now: 1,
        status: CW_OK,
        demanding: !0,
        input_faults: !0,
        active: !0,
        outputs: !0,
        unreferenced_a: !0,
        unreferenced_b: !0,
        violated_a: !0,
        violated_b: !0,
        tripped_a: !0,
        tripped_b: !0,
        analogue_faults_a: !0,
        analogue_faults_b: !0,
        analogue_tripped: !0,
        fault_a: !0,
        fault_b: !0,
        reset: !0,
        permit: true,
        clock_fault: true,
        warming_up: true,
        position_discrepancy_tripped: true,
        speed_discrepancy_tripped: true,
    }
}
