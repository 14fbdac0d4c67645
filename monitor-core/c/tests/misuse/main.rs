//! What a C program can get wrong has its status, and never leaves a permit.

#[path = "../calls/mod.rs"]
mod calls;
mod images;

use std::ffi::c_void;
use std::ptr;
use std::time::{Duration, Instant as Clock};

use calls::{Storage, frame_of, left_over, sealed};
use monitor_core::{
    AnalogueConfig, AxisConfig, Demand, Frame, InputConfig, Instant, Levels, Reading, Rule, Sample, Scale,
    SourceConfig, Span, Speed, SpeedLimit, TorqueLimit, Value, WarmUp, seal,
};
use monitor_core_c::*;

/// An axis with so many monitors that is always watched and permits from the first frame on.
fn config<const POINTS: usize>(monitors: usize) -> AxisConfig<POINTS, 32, 32> {
    let fastest = Speed::from_int(3000).expect("in range");
    let timeout = Span::from_nanos(4_000_000);
    let source = SourceConfig::try_new(32, Scale::ULP, fastest, timeout).expect("a source");
    let window = Span::from_nanos(8_000_000);
    let mut config = AxisConfig::try_new(source, source, window, WarmUp::Permit).expect("an axis");
    config.add_input(InputConfig::single(0, true, Span::ZERO).expect("a line")).expect("room");
    for _ in 0..monitors {
        let rule = SpeedLimit::try_new(Speed::from_int(1).expect("in range"), None).expect("a limit");
        config.add_monitor(Rule::SpeedLimit(rule), Demand::Always, Span::ZERO).expect("room");
    }
    config
}

fn image() -> Vec<u8> {
    sealed(&config::<CW_POINTS>(1), 0x5e7)
}

/// The frame number `k`, of an axis at rest.
fn frame(k: u64) -> cw_frame {
    let now = Instant::from_nanos(k * 1_000_000);
    let reading = Some(Reading { captured_at: now, sample: Sample::Count(5) });
    frame_of(&Frame { now, a: reading, b: reading, levels: Levels::from_bits(0) })
}

/// The status of a step, after its outcome was looked at: nothing is left over of the one before.
fn stepped(axis: *mut cw_axis, frame: *const cw_frame) -> cw_status {
    let mut outcome = left_over();
    let status = calls::step(axis, frame, &raw mut outcome);
    assert_eq!(outcome.status, status);
    assert_eq!(outcome.permit, status == CW_OK, "{}", calls::text(status));
    if status != CW_OK {
        let all = [outcome.demanding, outcome.input_faults, outcome.active, outcome.reset];
        let channels = [outcome.violated_a, outcome.violated_b, outcome.tripped_a, outcome.tripped_b];
        assert_eq!((outcome.now, all, channels), (0, [0; 4], [0; 4]));
    }
    status
}

fn steps(axis: *mut cw_axis, k: u64) -> cw_status {
    let frame = frame(k);
    stepped(axis, &raw const frame)
}

#[test]
fn an_axis_that_is_used_as_it_should_be_permits() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    assert_eq!((steps(axis, 1), steps(axis, 2)), (CW_OK, CW_OK));
    let mut info = cw_info { image_checksum: 0, setup_checksum: 0, monitors: 0, inputs: 0, analogues: 0 };
    assert_eq!(calls::info(axis, &raw mut info), CW_OK);
    let bytes = image();
    let checksum = seal::Image::open(&bytes).expect("an image").checksum();
    assert_eq!(
        info,
        cw_info { image_checksum: checksum, setup_checksum: 0x5e7, monitors: 1, inputs: 1, analogues: 0 }
    );
}

#[test]
fn a_null_pointer_is_refused_everywhere() {
    let storage = Storage::of_an_axis();
    let image = image();
    let mut axis = ptr::null_mut();
    let (to, bytes, length) = (storage.at(0), image.as_ptr(), image.len());
    assert_eq!(calls::load(ptr::null_mut(), CW_AXIS_SIZE, bytes, length, &raw mut axis), CW_STATUS_NULL);
    assert_eq!(calls::load(to, CW_AXIS_SIZE, ptr::null(), length, &raw mut axis), CW_STATUS_NULL);
    assert_eq!(calls::load(to, CW_AXIS_SIZE, bytes, length, ptr::null_mut()), CW_STATUS_NULL);
    assert_eq!(calls::unload(ptr::null_mut()), CW_STATUS_NULL);
    let axis = storage.load(&image).expect("an axis");
    assert_eq!(steps(ptr::null_mut(), 1), CW_STATUS_NULL);
    assert_eq!(stepped(axis, ptr::null()), CW_STATUS_NULL);
    let frame = frame(1);
    assert_eq!(calls::step(axis, &raw const frame, ptr::null_mut()), CW_STATUS_NULL);
    assert_eq!(calls::speed(axis, 0, ptr::null_mut()), CW_STATUS_NULL);
    assert_eq!(calls::trip_at(axis, 0, ptr::null_mut()), CW_STATUS_NULL);
    let mut value = 0;
    assert_eq!(calls::speed(ptr::null(), 0, &raw mut value), CW_STATUS_NULL);
    assert_eq!(value, CW_UNKNOWN);
}

#[test]
fn a_misaligned_pointer_is_refused_everywhere() {
    let storage = Storage::new(CW_AXIS_SIZE / 8 + 1, 0);
    let image = image();
    assert_eq!(storage.load_at(4, &image).err(), Some(CW_STATUS_ALIGNMENT));
    let axis = storage.load(&image).expect("an axis");
    assert_eq!(steps(axis.wrapping_byte_add(4), 1), CW_STATUS_ALIGNMENT);

    let room = Storage::new(64, u64::MAX);
    assert_eq!(stepped(axis, room.at(4).cast_const().cast()), CW_STATUS_ALIGNMENT);
    let (frame, outcome) = (frame(1), room.at(4).cast::<cw_outcome>());
    assert_eq!(calls::step(axis, &raw const frame, outcome), CW_STATUS_ALIGNMENT);
    // SAFETY: it was just written there, and there is room for it.
    let outcome = unsafe { outcome.read_unaligned() };
    assert!(!outcome.permit && outcome.status == CW_STATUS_ALIGNMENT);
}

#[test]
fn storage_may_lie_at_every_multiple_of_eight_bytes() {
    let storage = Storage::new(CW_AXIS_SIZE / 8 + 2, 0);
    for byte in [0, 8, 16] {
        let axis = storage.load_at(byte, &image()).expect("an axis");
        assert_eq!(steps(axis, 1), CW_OK);
        assert_eq!(calls::unload(axis), CW_OK);
    }
}

#[test]
fn a_load_writes_nowhere_but_to_the_storage() {
    let storage = Storage::new(CW_AXIS_SIZE / 8 + 4, u64::MAX);
    for byte in [8, 16] {
        let axis = storage.load_at(byte, &image()).expect("an axis");
        assert_eq!(steps(axis, 1), CW_OK);
        let at = |byte: usize| {
            // SAFETY: within the storage, and every byte of it was written.
            unsafe { storage.at(byte).cast::<u8>().read() }
        };
        let around = (0..byte).chain(byte + CW_AXIS_SIZE..CW_AXIS_SIZE + 32);
        assert!(around.map(at).all(|byte| byte == 0xff));
        assert_eq!(calls::unload(axis), CW_OK);
        // SAFETY: within the storage; nothing is loaded in it.
        unsafe { storage.at(8).cast::<u8>().write_bytes(0xff, CW_AXIS_SIZE + 8) };
    }
}

#[test]
fn storage_of_another_size_than_that_of_an_axis_is_refused_when_it_is_smaller() {
    let storage = Storage::of_an_axis();
    let image = image();
    for size in [0, 8, CW_AXIS_SIZE - 1] {
        let mut axis = ptr::dangling_mut();
        let status = calls::load(storage.at(0), size, image.as_ptr(), image.len(), &raw mut axis);
        assert_eq!((status, axis.is_null()), (CW_STATUS_SIZE, true));
        assert_eq!(steps(axis, 1), CW_STATUS_NULL);
    }
}

#[test]
fn an_axis_pointer_right_behind_storage_that_is_too_small_is_made_null() {
    let image = image();
    let room = Storage::new(CW_AXIS_SIZE / 8 + 1, u64::MAX);
    for size in [0, 8, 64, CW_AXIS_SIZE - 8] {
        let axis = room.at(size).cast::<*mut cw_axis>();
        // SAFETY: there is room, and it is aligned.
        unsafe { axis.write(ptr::dangling_mut()) };
        assert_eq!(calls::load(room.at(0), size, image.as_ptr(), image.len(), axis), CW_STATUS_SIZE);
        // SAFETY: the same place.
        assert!(unsafe { axis.read() }.is_null(), "behind {size} bytes");
    }
}

#[test]
fn storage_in_which_nothing_was_loaded_is_no_axis() {
    for content in [0, 1, u64::MAX, 0xaaaa_aaaa_5555_5555, 0xdead_beef_dead_beef] {
        let storage = Storage::new(CW_AXIS_SIZE / 8 + 1, content);
        assert_eq!(steps(storage.at(0).cast(), 1), CW_STATUS_NOT_LOADED);
    }
}

#[test]
fn an_axis_is_not_loaded_over_and_its_latches_stay() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    assert_eq!(steps(axis, 2), CW_OK);
    let mut outcome = left_over();
    let backwards = frame(1);
    assert_eq!(calls::step(axis, &raw const backwards, &raw mut outcome), CW_OK);
    assert!(outcome.clock_fault && !outcome.permit);

    assert_eq!(storage.load(&image()).err(), Some(CW_STATUS_LOADED_ALREADY));
    let mut latched = false;
    assert_eq!(calls::clock_faulted(axis, &raw mut latched), CW_OK);
    assert!(latched);
}

#[test]
fn an_unloaded_axis_is_none_until_it_is_loaded_again() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    assert_eq!(calls::unload(axis), CW_OK);
    assert_eq!(steps(axis, 1), CW_STATUS_NOT_LOADED);
    assert_eq!(calls::unload(axis), CW_STATUS_NOT_LOADED);
    let axis = storage.load(&image()).expect("an axis");
    assert_eq!(steps(axis, 1), CW_OK);
}

#[test]
fn a_copy_of_an_axis_is_none() {
    let (storage, copy) = (Storage::of_an_axis(), Storage::of_an_axis());
    let axis = storage.load(&image()).expect("an axis");
    // SAFETY: both are that large and apart.
    unsafe { copy.at(0).copy_from_nonoverlapping(storage.at(0), CW_AXIS_SIZE) };
    assert_eq!(steps(copy.at(0).cast(), 1), CW_STATUS_MOVED);
    assert_eq!(steps(axis, 1), CW_OK);
    assert!(copy.load(&image()).is_ok(), "a copy is no axis that has to be unloaded");
}

#[test]
fn of_two_axes_in_overlapping_storage_the_first_is_none() {
    for byte in [8, 16, 24, 64, 1024, CW_AXIS_SIZE / 2] {
        for (first, second) in [(0, byte), (byte, 0)] {
            let storage = Storage::new(CW_AXIS_SIZE / 4, 0);
            let axis = storage.load_at(first, &image()).expect("an axis");
            match storage.load_at(second, &image()) {
                // Storage that begins 8 bytes earlier or later may be the same one where 16 bytes are a unit.
                Err(status) => assert_eq!((status, byte), (CW_STATUS_LOADED_ALREADY, 8)),
                Ok(_) => {
                    let status = steps(axis, 1);
                    let found = [CW_STATUS_NOT_LOADED, CW_STATUS_MOVED, CW_STATUS_OVERWRITTEN];
                    assert!(found.contains(&status), "{first} {second}: {}", calls::text(status));
                }
            }
        }
    }
}

#[test]
fn a_reading_of_no_known_kind_is_refused_and_the_axis_is_as_before() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    for (k, kind) in (1..).zip([0, 4, 0x0100_0002, u32::MAX]) {
        let mut bad = frame(2 * k);
        bad.a.kind = kind;
        assert_eq!(stepped(axis, &raw const bad), CW_STATUS_SAMPLE_KIND);
        bad = frame(2 * k);
        bad.b.kind = kind;
        assert_eq!(stepped(axis, &raw const bad), CW_STATUS_SAMPLE_KIND);
        // The same instant, without a clock fault: it was not evaluated before.
        assert_eq!(steps(axis, 2 * k), CW_OK);
    }
}

#[test]
fn an_outcome_may_lie_where_the_frame_does() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    let room = Storage::new(64, u64::MAX);
    // SAFETY: there is room, and it is aligned.
    unsafe { room.at(0).cast::<cw_frame>().write(frame(1)) };
    assert_eq!(calls::step(axis, room.at(0).cast_const().cast(), room.at(0).cast()), CW_OK);
    // SAFETY: the call wrote an outcome there.
    let outcome = unsafe { room.at(0).cast::<cw_outcome>().read() };
    assert!(outcome.permit && outcome.now == 1_000_000);
}

#[test]
fn an_outcome_within_the_axis_is_told_as_that_has_no_permit_and_ends_the_axis_wherever_it_lies() {
    let mut found = Vec::new();
    for byte in (0..CW_AXIS_SIZE - size_of::<cw_outcome>()).step_by(4) {
        let storage = Storage::of_an_axis();
        let axis = storage.load(&image()).expect("an axis");
        let outcome = storage.at(byte).cast::<cw_outcome>();
        let frame = frame(1);
        let status = calls::step(axis, &raw const frame, outcome);
        // SAFETY: the call wrote an outcome there.
        let written = unsafe { outcome.read_unaligned() };
        assert_eq!((written.status, written.permit), (status, status == CW_OK), "byte {byte}");
        if status == CW_STATUS_OVERLAP {
            assert_ne!(steps(axis, 2), CW_OK, "byte {byte}");
        }
        found.push(status);
    }
    // What is left at the end of the storage is not used; there an outcome may lie when it is aligned.
    let within = found.iter().take_while(|&&status| status == CW_STATUS_OVERLAP).count();
    let others = &found[within..];
    assert!(others.iter().all(|status| [CW_OK, CW_STATUS_ALIGNMENT].contains(status)), "{found:?}");
    assert!(within > 500 && others.contains(&CW_OK), "{within}: {found:?}");
}

#[test]
fn an_outcome_within_the_axis_ends_it_also_when_there_is_something_else_to_refuse() {
    let mut bad = frame(1);
    bad.a.kind = 0;
    for byte in (0..512).step_by(8) {
        for frame in [ptr::null(), &raw const bad, ptr::without_provenance(4)] {
            let storage = Storage::of_an_axis();
            let axis = storage.load(&image()).expect("an axis");
            let outcome = storage.at(byte).cast::<cw_outcome>();
            assert_eq!(calls::step(axis, frame, outcome), CW_STATUS_OVERLAP, "byte {byte}");
            // SAFETY: the call wrote an outcome there.
            assert!(!unsafe { outcome.read() }.permit);
            assert_ne!(steps(axis, 2), CW_OK, "byte {byte}");
        }
    }
}

#[test]
fn an_outcome_within_storage_in_which_nothing_was_loaded_has_no_permit() {
    let storage = Storage::new(CW_AXIS_SIZE / 8, u64::MAX);
    let outcome = storage.at(64).cast::<cw_outcome>();
    let frame = frame(1);
    assert_eq!(calls::step(storage.at(0).cast(), &raw const frame, outcome), CW_STATUS_OVERLAP);
    // SAFETY: the call wrote an outcome there.
    let written = unsafe { outcome.read() };
    assert_eq!((written.status, written.permit), (CW_STATUS_OVERLAP, false));
}

#[test]
fn an_answer_is_not_written_into_the_axis() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    assert_eq!(steps(axis, 1), CW_OK);
    for byte in [0, 8, 64, 1024] {
        assert_eq!(calls::speed(axis, 0, axis.wrapping_byte_add(byte).cast()), CW_STATUS_OVERLAP);
    }
    assert_eq!(steps(axis, 2), CW_OK);
    let (bytes, within) = (image(), storage.at(64).cast());
    let status = calls::load(storage.at(0), CW_AXIS_SIZE, bytes.as_ptr(), bytes.len(), within);
    assert_eq!((status, steps(axis, 3)), (CW_STATUS_OVERLAP, CW_OK));
}

#[test]
fn what_an_axis_does_not_have_cannot_be_asked_for() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    let (mut value, mut flag) = (0, false);
    for channel in [2, u32::MAX] {
        assert_eq!(calls::speed(axis, channel, &raw mut value), CW_STATUS_NO_CHANNEL);
        assert_eq!(value, CW_UNKNOWN);
        assert_eq!(calls::position(axis, channel, &raw mut value), CW_STATUS_NO_CHANNEL);
        assert_eq!(calls::channel_faulted(axis, channel, &raw mut flag), CW_STATUS_NO_CHANNEL);
        assert!(flag, "what cannot be told is a fault");
    }
    for input in [1, 32, u32::MAX] {
        flag = false;
        assert_eq!(calls::input_faulted(axis, input, &raw mut flag), CW_STATUS_NO_INPUT);
        assert!(flag, "what cannot be told is a fault");
    }
    assert_eq!(calls::distance(axis, &raw mut value), CW_STATUS_UNKNOWN);
}

#[test]
fn a_trip_of_what_an_axis_does_not_have_cannot_be_asked_for() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&image()).expect("an axis");
    let asked = |rule, monitor, channel| {
        let room = Storage::new(16, 0);
        let trip = room.at(0).cast::<cw_trip>();
        let status = calls::trip(axis, rule, monitor, channel, trip);
        // SAFETY: the call wrote one there.
        assert_eq!(unsafe { trip.read() }.observed, CW_UNKNOWN);
        status
    };
    assert_eq!(asked(4, 0, 0), CW_STATUS_NO_RULE);
    assert_eq!(asked(CW_RULE_ANALOGUE_DISCREPANCY, 0, 0), CW_STATUS_NO_ANALOGUE);
    assert_eq!(asked(CW_RULE_MONITOR, 1, 0), CW_STATUS_NO_MONITOR);
    assert_eq!(asked(CW_RULE_MONITOR, 32, 0), CW_STATUS_NO_MONITOR);
    assert_eq!(asked(CW_RULE_MONITOR, 0, 2), CW_STATUS_NO_CHANNEL);
    assert_eq!(asked(CW_RULE_MONITOR, 0, 1), CW_STATUS_NO_TRIP);
    assert_eq!(asked(CW_RULE_POSITION_DISCREPANCY, 9, 9), CW_STATUS_NO_TRIP);
    assert_eq!(asked(CW_RULE_SPEED_DISCREPANCY, 9, 9), CW_STATUS_NO_TRIP);
}

/// An image of an axis that withdraws the permit above 80 of an analogue value, whatever its unit.
fn analogue_image() -> Vec<u8> {
    let ms = |n| Span::from_millis(n).expect("a span");
    let value = |n| Value::from_int(n).expect("a value");
    let scale = Scale::from_ratio(1, 1000).expect("a scale");
    let source =
        SourceConfig::try_new(24, scale, Speed::from_int(3000).expect("a speed"), ms(50)).expect("a source");
    let mut axis: AxisConfig<CW_POINTS, 1, 1> =
        AxisConfig::try_new(source, source, ms(8), WarmUp::Permit).expect("an axis");
    let torque = AnalogueConfig::try_new([value(-300), value(300)], ms(50), value(5), ms(20));
    let torque = axis.add_analogue(torque.expect("an analogue value")).expect("room");
    let limit = TorqueLimit::try_new(torque, value(80)).expect("a limit");
    axis.add_monitor(Rule::TorqueLimit(limit), Demand::Always, Span::ZERO).expect("room");
    sealed(&axis, 0)
}

#[test]
fn an_analogue_value_that_is_handed_in_counts_from_the_next_frame_on_and_a_bad_one_is_refused() {
    let storage = Storage::of_an_axis();
    let axis = storage.load(&analogue_image()).expect("an axis");
    let offer = |place, channel, value: i64, kind| {
        let reading = cw_analogue_reading { captured_at: 1_000_000, value: value << 24, kind };
        calls::offer(axis, place, channel, &raw const reading)
    };
    for channel in [CW_CHANNEL_A, CW_CHANNEL_B] {
        assert_eq!(offer(0, channel, 81, CW_SAMPLE_VALUE), CW_OK);
    }
    assert_eq!(offer(1, CW_CHANNEL_A, 0, CW_SAMPLE_VALUE), CW_STATUS_NO_ANALOGUE);
    assert_eq!(offer(0, 2, 0, CW_SAMPLE_VALUE), CW_STATUS_NO_CHANNEL);
    assert_eq!(offer(0, CW_CHANNEL_A, 0, 0), CW_STATUS_SAMPLE_KIND);
    assert_eq!(offer(0, CW_CHANNEL_A, 0, CW_SAMPLE_COUNT), CW_STATUS_SAMPLE_KIND);
    assert_eq!(calls::offer(axis, 0, CW_CHANNEL_A, ptr::null()), CW_STATUS_NULL);
    let frame = frame_of(&Frame {
        now: Instant::from_nanos(1_000_000),
        a: Some(Reading { captured_at: Instant::from_nanos(1_000_000), sample: Sample::Count(0) }),
        b: Some(Reading { captured_at: Instant::from_nanos(1_000_000), sample: Sample::Count(0) }),
        levels: Levels::default(),
    });
    let mut outcome = left_over();
    assert_eq!(calls::step(axis, &raw const frame, &raw mut outcome), CW_OK);
    assert_eq!((outcome.tripped_a, outcome.tripped_b, outcome.permit), (1, 1, false));
    let mut trip = std::mem::MaybeUninit::<cw_trip>::uninit();
    assert_eq!(calls::trip(axis, CW_RULE_MONITOR, 0, CW_CHANNEL_B, trip.as_mut_ptr()), CW_OK);
    // SAFETY: the call wrote one there.
    let trip = unsafe { trip.assume_init() };
    assert_eq!((trip.quantity, trip.observed, trip.excess), (CW_QUANTITY_VALUE, 81 << 24, 1 << 24));
}

/// An axis that threads share although they must not.
struct Shared(*mut c_void);

// SAFETY: a call that finds another one on the same axis touches nothing but the mark by which it finds it.
unsafe impl Sync for Shared {}

#[test]
fn a_call_within_another_on_the_same_axis_is_refused_without_a_permit() {
    let storage = Storage::of_an_axis();
    let shared = Shared(storage.load(&image()).expect("an axis").cast());
    let deadline = Clock::now() + Duration::from_secs(60);
    let met = std::sync::atomic::AtomicBool::new(false);
    let run = || {
        let shared = &shared;
        while !met.load(std::sync::atomic::Ordering::Relaxed) && Clock::now() < deadline {
            let (frame, mut outcome) = (frame(1), left_over());
            let status = calls::step(shared.0.cast(), &raw const frame, &raw mut outcome);
            if status == CW_STATUS_BUSY {
                assert!(!outcome.permit && outcome.status == CW_STATUS_BUSY);
                met.store(true, std::sync::atomic::Ordering::Relaxed);
            } else {
                assert_eq!(status, CW_OK);
            }
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(run);
        }
    });
    assert!(met.into_inner(), "four threads met within a minute");
    assert_ne!(steps_after(&storage), CW_STATUS_BUSY);
}

/// Whether the axis is free again.
fn steps_after(storage: &Storage) -> cw_status {
    let mut latched = false;
    calls::clock_faulted(storage.at(0).cast(), &raw mut latched)
}

#[test]
fn every_status_has_a_text_of_its_own() {
    let none = calls::text(u32::MAX);
    let header = include_str!("../../include/cowitness.h");
    let statuses = header.lines().filter_map(|line| line.strip_prefix("#define CW_STATUS_"));
    let mut texts = vec![none, calls::text(CW_OK)];
    for status in statuses {
        let number = status.split(' ').nth(1).and_then(|number| number.parse().ok());
        let text = calls::text(number.expect("a number follows"));
        assert!(!texts.contains(&text), "CW_STATUS_{status}: {text}");
        texts.push(text);
    }
    assert!(texts.len() > 20, "{texts:?}");
}
