//! Counts what each frame of a script costs: instructions of `step`, and stack.

#![no_std]
#![no_main]

use core::hint::black_box;

use firmware::count::{Counter, stack};
use firmware::entry;
use firmware::files::{Answers, Script};
use monitor_core::seal::Image;
use monitor_core::{AxisConfig, AxisState, Frame, Outcome};
use wire::Item;

/// The seven-rule axis has three monitors and an input.
type Config = AxisConfig<17, 4, 1>;
type State = AxisState<17, 4, 1>;

/// One call, as firmware makes it.
#[inline(never)]
fn step(config: &Config, state: &mut State, frame: &Frame, outcome: &mut Outcome) {
    *outcome = config.step(state, frame);
}

#[entry]
fn main() -> ! {
    // With another reading a channel (their number is odd), another monitor, another input.
    let more = [
        (size_of::<AxisState<19, 4, 1>>() - size_of::<State>()) / 2,
        size_of::<AxisState<17, 5, 1>>() - size_of::<State>(),
        size_of::<AxisState<17, 4, 2>>() - size_of::<State>(),
    ];
    semihosting::println!("{} {} {} {}", size_of::<State>(), more[0], more[1], more[2]);
    let counter = Counter::calibrate();
    let mut script = Script::open();
    let mut costs = Answers::create(c"costs");
    let mut config: Option<Config> = None;
    let mut state = State::new();
    let mut outcome = Outcome::default();
    while let Some(item) = script.next_item() {
        match postcard::from_bytes(item).expect("an item") {
            Item::Axis(image) => {
                config = Image::open(image).and_then(|image| image.axis()).ok();
                state = State::new();
            }
            Item::Reading(of, channel, reading) => {
                let config = config.as_ref().expect("an axis before the first reading");
                config.offer(&mut state, of, channel, reading);
            }
            Item::Frame(frame) => {
                let config = config.as_ref().expect("an axis before the first frame");
                let mut same = state.clone();
                let used = stack(|| step(config, &mut same, black_box(&frame), black_box(&mut outcome)));
                let count =
                    counter.count(|| step(config, &mut state, black_box(&frame), black_box(&mut outcome)));
                costs.put(&count.to_le_bytes());
                costs.put(&used.to_le_bytes());
            }
        }
    }
    costs.finish();
    semihosting::process::exit(0)
}
