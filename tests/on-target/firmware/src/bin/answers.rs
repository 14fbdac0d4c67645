//! Answers a script of axes and frames, frame by frame.

#![no_std]
#![no_main]

use firmware::entry;
use firmware::files::{Answers, Script};
use monitor_core::seal::Image;
use monitor_core::{AxisConfig, AxisState};
use wire::{Item, POINTS, answer};

#[cfg(few)]
use wire::FEW as ROOM;
#[cfg(not(few))]
use wire::MANY as ROOM;

type TestConfig = AxisConfig<POINTS, { ROOM.0 }, { ROOM.1 }>;
type TestState = AxisState<POINTS, { ROOM.0 }, { ROOM.1 }>;

// What is made anew is made in functions of its own, so that their stack is free again: one of the cores has 16 KiB.

#[inline(never)]
fn load(image: &[u8], config: &mut Option<TestConfig>) {
    let image = Image::open(image).expect("a sealed setup");
    *config = Some(image.axis().expect("a setup that fits"));
}

#[inline(never)]
fn renew(state: &mut TestState) {
    *state = TestState::new();
}

#[entry]
fn main() -> ! {
    let mut script = Script::open();
    let mut answers = Answers::create(c"answers");
    let mut config: Option<TestConfig> = None;
    let mut state = TestState::new();
    while let Some(item) = script.next_item() {
        match postcard::from_bytes(item).expect("an item") {
            Item::Axis(image) => {
                load(image, &mut config);
                renew(&mut state);
            }
            Item::Reading(of, channel, reading) => {
                let config = config.as_ref().expect("an axis before the first reading");
                config.offer(&mut state, of, channel, reading);
            }
            Item::Frame(frame) => {
                let config = config.as_ref().expect("an axis before the first frame");
                let outcome = config.step(&mut state, &frame);
                answer(config, &state, &outcome, |part| answers.put(part));
            }
        }
    }
    answers.finish();
    semihosting::process::exit(0)
}
