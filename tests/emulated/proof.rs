//! What is not in the image of a safety loop, and that its being there would be found.

use std::time::Duration;

use crate::emulator::Image;
use crate::image::{ALL, ALLOCATION, Contents, DIVISION, FLOAT, Forbidden, PANIC};
use crate::{scratch, target};

fn proof<'a>(profile: &'a str, features: &'a str) -> Image<'a> {
    Image { name: "proof", profile, features }
}

/// The image that can only be linked when no panic can be reached holds none of the forbidden functions. Where the core has a
/// floating-point unit, floats are instructions and not to be seen by name: the targets without one speak for the same source.
fn holds_nothing_forbidden(triple: &str) {
    let Some(target) = target(triple) else { return };
    for profile in ["release", "small"] {
        let contents = Contents::of(&target.image(&proof(profile, "")));
        assert!(
            contents.functions.iter().any(|function| function.name.contains("evaluate_fully")),
            "the core is in it"
        );
        for kind in ALL {
            // The handler itself, whose body cannot be linked, is not called by anybody and therefore not there either.
            assert_eq!(contents.forbidden(kind), [""; 0], "{} on {triple}, {profile}", kind.what);
        }
    }
}

#[test]
fn a_safety_loop_on_a_cortex_m0_holds_no_panic_float_division_or_allocation() {
    holds_nothing_forbidden("thumbv6m-none-eabi");
}

#[test]
fn a_safety_loop_on_a_cortex_m3_holds_no_panic_float_division_or_allocation() {
    holds_nothing_forbidden("thumbv7m-none-eabi");
}

#[test]
fn a_safety_loop_on_a_cortex_m4f_holds_no_panic_division_or_allocation() {
    holds_nothing_forbidden("thumbv7em-none-eabihf");
}

#[test]
fn a_safety_loop_on_a_cortex_m33_holds_no_panic_division_or_allocation() {
    holds_nothing_forbidden("thumbv8m.main-none-eabihf");
}

#[test]
fn a_safety_loop_on_an_rv32imac_holds_no_panic_float_division_or_allocation() {
    holds_nothing_forbidden("riscv32imac-unknown-none-elf");
}

#[test]
fn a_safety_loop_with_a_panic_in_it_does_not_link() {
    let Some(target) = target("thumbv7m-none-eabi") else { return };
    let message = target.build(&proof("release", "bad-panic")).expect_err("no image");
    assert!(message.contains("a_panic_is_reachable"), "{message}");
}

fn is_found(features: &str, kind: &Forbidden) {
    let Some(target) = target("thumbv7m-none-eabi") else { return };
    let contents = Contents::of(&target.image(&proof("release", features)));
    assert!(!contents.forbidden(kind).is_empty(), "{} is found", kind.what);
}

#[test]
fn a_panic_float_division_or_allocation_in_a_safety_loop_is_found() {
    is_found("bad-panic,halt", &PANIC);
    is_found("bad-float", &FLOAT);
    is_found("bad-division", &DIVISION);
    is_found("bad-allocation,halt", &ALLOCATION);
}

#[test]
fn a_target_that_stops_answering_is_stopped_and_named() {
    let Some(target) = target("thumbv7m-none-eabi") else { return };
    // Without a setup in flash the safety loop waits for ever.
    let image = target.image(&proof("release", ""));
    let why = target.run_for(&image, &scratch(), &[], Duration::from_millis(500)).expect_err("no end");
    assert!(
        why.contains("stopped answering") && why.contains("qemu-system-arm -machine mps2-an385"),
        "{why}"
    );
}
